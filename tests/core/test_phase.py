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


STANDS = {"speed_kmh": 0.0}


@pytest.mark.parametrize(
    ("idle_rpm", "rpm", "phase"),
    [
        (None, 299.0, Phase.OFF),
        (None, 300.0, Phase.IDLE),
        (None, 1399.0, Phase.IDLE),
        (None, 1400.0, Phase.LOADED),
        (600.0, 899.0, Phase.IDLE),
        (600.0, 900.0, Phase.UNKNOWN),
        (600.0, 1139.0, Phase.UNKNOWN),
        (600.0, 1140.0, Phase.LOADED),
    ],
)
def test_the_limits_of_a_hold_are_those_of_the_documentation(
    idle_rpm: float | None, rpm: float, phase: Phase
) -> None:
    """docs/watch.md, Holds: 1400 1/min at first, then 1.5 and 1.9 times the warm idle; an engine
    that turns with less than 300 1/min does not run (docs/proof.md).
    """
    phases = PhaseTracker() if idle_rpm is None else settled(idle_rpm)
    assert phases.step(11.0, {"engine_rpm": rpm, **STANDS}) is phase


@pytest.mark.parametrize(
    ("rpm", "pressed", "phase"),
    [
        (1100.0, {"load_pct": 50.0}, Phase.LOADED),
        (1100.0, {"throttle_pct": 40.0}, Phase.LOADED),
        (1100.0, {"load_pct": 49.9, "throttle_pct": 39.9}, Phase.IDLE),
        (1099.0, {"load_pct": 50.0, "throttle_pct": 40.0}, Phase.IDLE),
        (1100.0, {"load_pct": 50.0, "in_park": 1.0}, Phase.IDLE),
    ],
)
def test_load_or_throttle_make_it_a_hold(
    rpm: float, pressed: dict[str, float], phase: Phase
) -> None:
    """docs/watch.md: from 1100 1/min on, a load of 50 % or a throttle of 40 %; never in park."""
    assert PhaseTracker().step(0.0, {"engine_rpm": rpm, **STANDS, **pressed}) is phase


@pytest.mark.parametrize(
    ("rpm", "seconds", "learned"),
    [
        (450.0, 6, 450.0),
        (1000.0, 6, 1000.0),
        (449.0, 60, None),
        (1001.0, 60, None),
        (700.0, 5, None),  # the last reading of these comes after four seconds
    ],
)
def test_what_a_warm_idle_is(rpm: float, seconds: int, learned: float | None) -> None:
    """docs/watch.md: between 450 and 1000 1/min, kept for five seconds while standing."""
    phases = PhaseTracker()
    for second in range(seconds):
        phases.step(float(second), {"engine_rpm": rpm, **STANDS})
    assert phases.warm_idle_rpm == learned


def test_the_warm_idle_is_the_slowest_that_was_kept() -> None:
    """One slow reading is not kept; of five seconds the fastest counts, of all stretches the least.

    A stretch that was broken off begins anew.
    """
    phases = PhaseTracker()
    speeds = [700, 700, 700, 720, 700, 700, *[800] * 8, *[650] * 4, 1200, *[650] * 5]
    for second, rpm in enumerate(speeds):
        phases.step(float(second), {"engine_rpm": float(rpm), **STANDS})
    assert phases.warm_idle_rpm == 720.0
    phases.step(float(len(speeds)), {"engine_rpm": 650.0, **STANDS})
    assert phases.warm_idle_rpm == 650.0


def test_a_vehicle_that_drove_stands_at_one_km_h_for_more_than_three_seconds() -> None:
    """Creeping faster than 1 km/h is driving on; a halt of three seconds still is (ours)."""
    for creeping, phase in ((1.1, Phase.DRIVING), (1.0, Phase.IDLE)):
        phases = PhaseTracker()
        phases.step(0.0, {"engine_rpm": 800.0, "speed_kmh": 20.0})
        seen = [
            phases.step(float(at), {"engine_rpm": 800.0, "speed_kmh": creeping})
            for at in range(1, 6)
        ]
        assert seen[:3] == [Phase.DRIVING] * 3
        assert seen[3:] == [phase] * 2


def test_a_road_speed_that_is_lost_ends_the_drive() -> None:
    """Without it nobody can say that the vehicle still moves, nor that it never did."""
    phases = PhaseTracker()
    phases.step(0.0, {"engine_rpm": 800.0, "speed_kmh": 20.0})
    assert phases.step(6.0, {"engine_rpm": 800.0}) is Phase.IDLE
    assert phases.step(7.0, {"engine_rpm": 800.0, "speed_kmh": 2.0}) is Phase.IDLE
