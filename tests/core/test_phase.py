"""What the vehicle is doing."""

import pytest

from warmwatch.core.phase import Phase, PhaseTracker


@pytest.mark.parametrize(
    ("rpm", "speed", "phase"),
    [
        (0.0, 0.0, Phase.OFF),
        (780.0, 0.0, Phase.IDLE),
        (1200.0, 0.0, Phase.IDLE),  # a cold fast idle
        (2000.0, 0.0, Phase.LOADED),
        (2000.0, 40.0, Phase.DRIVING),
        (780.0, 15.0, Phase.DRIVING),  # rolling
        (None, 0.0, Phase.UNKNOWN),
        (780.0, None, Phase.IDLE),
        (2500.0, None, Phase.UNKNOWN),
        (None, None, Phase.UNKNOWN),
    ],
)
def test_phase_from_both_speeds(rpm: float | None, speed: float | None, phase: Phase) -> None:
    """What cannot be told from the values there are is unknown."""
    values = {"engine_rpm": rpm, "speed_kmh": speed}
    known = {name: value for name, value in values.items() if value is not None}
    assert PhaseTracker().step(0.0, known) is phase


def test_a_short_halt_is_still_driving() -> None:
    """A junction does not end a drive; three seconds of standing do."""
    phases = PhaseTracker()
    phases.step(0.0, {"engine_rpm": 1500.0, "speed_kmh": 30.0})
    standing = {"engine_rpm": 780.0, "speed_kmh": 0.0}
    assert phases.step(2.0, standing) is Phase.DRIVING
    assert phases.step(4.0, standing) is Phase.IDLE


def test_an_old_speed_is_not_believed() -> None:
    """Values that stop coming turn the phase to unknown."""
    phases = PhaseTracker()
    phases.step(0.0, {"engine_rpm": 780.0, "speed_kmh": 0.0})
    assert phases.step(5.0, {}) is Phase.IDLE
    assert phases.step(5.1, {}) is Phase.UNKNOWN
