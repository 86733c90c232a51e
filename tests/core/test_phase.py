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


def settled(idle_rpm: float) -> PhaseTracker:
    """Return a tracker that saw this engine idle warm for ten seconds."""
    phases = PhaseTracker()
    for second in range(11):
        phases.step(float(second), {"engine_rpm": idle_rpm, "speed_kmh": 0.0})
    return phases


@pytest.mark.parametrize(
    ("idle_rpm", "in_park", "rpm", "phase"),
    [
        (750.0, 0.0, 1550.0, Phase.LOADED),  # a hold in drive, by common practice; no source
        (750.0, 0.0, 2000.0, Phase.LOADED),  # and in reverse
        (750.0, None, 1550.0, Phase.LOADED),  # nobody says where the selector is: be careful
        (750.0, 1.0, 2500.0, Phase.IDLE),  # in park it only turns freely
        (750.0, 0.0, 1200.0, Phase.LOADED),  # held gently
        (750.0, None, 1200.0, Phase.UNKNOWN),  # held gently, or revved in park
        (750.0, None, 1000.0, Phase.IDLE),  # a fan or a compressor came on
        (750.0, 0.0, 850.0, Phase.IDLE),
        (600.0, None, 1180.0, Phase.LOADED),  # a slow engine is held at lower speeds
        (950.0, None, 1400.0, Phase.IDLE),  # and a fast one idles higher
    ],
)
def test_a_hold_is_told_relative_to_the_warm_idle(
    idle_rpm: float, in_park: float | None, rpm: float, phase: Phase
) -> None:
    """What is a hold depends on this engine's own idle; what cannot be told is unknown."""
    phases = settled(idle_rpm)
    values = {"engine_rpm": rpm, "speed_kmh": 0.0}
    if in_park is not None:
        values["in_park"] = in_park
    assert phases.step(11.0, values) is phase


@pytest.mark.parametrize("in_park", [None, 0.0, 1.0])
def test_a_cold_fast_idle_is_no_hold(in_park: float | None) -> None:
    """From 1350 down to 800 1/min after a cold start nothing is held, wherever the selector is."""
    phases = PhaseTracker()
    for second in range(300):
        rpm = 800.0 + 550.0 * 0.985**second
        values = {"engine_rpm": rpm, "speed_kmh": 0.0}
        if in_park is not None:
            values["in_park"] = in_park
        assert phases.step(float(second), values) is Phase.IDLE


def test_the_warm_idle_is_learned_while_standing() -> None:
    """Only a standing engine that turns slowly for a while shows its warm idle."""
    phases = PhaseTracker()
    for second in range(20):
        phases.step(float(second), {"engine_rpm": 900.0, "speed_kmh": 20.0})
    assert phases.warm_idle_rpm is None
    assert settled(700.0).warm_idle_rpm == 700.0


def test_a_standing_vehicle_drives_from_more_than_three_km_h_on() -> None:
    """At 3 km/h sharp it still stands, as wheels that are pushed do; a driving one stops at 1."""
    for speed, phase in ((3.0, Phase.IDLE), (3.1, Phase.DRIVING)):
        phases = PhaseTracker()
        phases.step(0.0, {"engine_rpm": 700.0, "speed_kmh": 0.0})
        assert phases.step(1.0, {"engine_rpm": 700.0, "speed_kmh": speed}) is phase
