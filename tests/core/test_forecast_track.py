"""The fluid's path between the steps of a sensor."""

import random
from math import exp, floor

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from warmwatch.core.forecast.track import Track


def fed(values: list[tuple[float, float]]) -> Track:
    """Return a track that saw (elapsed_s, fluid_c) readings."""
    track = Track()
    for now_s, value in values:
        track.add(now_s, value)
    return track


@pytest.mark.parametrize("quantum", [1.0, 0.5, 5 / 9])
@pytest.mark.parametrize("lift", [0.0, 0.5])
def test_level_between_steps_of_a_straight_rise(quantum: float, lift: float) -> None:
    """A straight rise is followed to a quarter step, whether the sensor cuts or rounds."""
    readings = [(float(t), floor((20.0 + t / 30.0) / quantum + lift) * quantum) for t in range(900)]
    track = fed(readings)
    truth = 20.0 + 899 / 30.0 + lift * quantum
    assert track.quantum_c == pytest.approx(quantum, abs=1e-3)
    assert track.level() == pytest.approx(truth, abs=0.25 * quantum)


def test_fine_noisy_signal_is_averaged() -> None:
    """A signal in 1/32 degC with 0.2 degC noise (as measured on a running engine) is smoothed."""
    rng = random.Random(1)
    readings = [
        (float(t), round((40.0 + t / 40.0 + rng.gauss(0, 0.2)) * 32) / 32) for t in range(600)
    ]
    track = fed(readings)
    assert track.fine
    assert track.level() == pytest.approx(40.0 + 599 / 40.0, abs=0.25)
    assert 0.1 < track.noise_c < 0.35


def test_chatter_at_an_edge_is_one_crossing() -> None:
    """A reading that jitters between two steps crosses their edge once."""
    track = fed([(float(t), 50.0 + (t % 2)) for t in range(20)])
    assert track.levels[1:] == [51.0]


def test_a_jump_starts_a_new_stretch() -> None:
    """After a hole the first rows may repeat the old value: the catch-up is no heating rate."""
    readings = [(float(t), float(30 + t // 60)) for t in range(600)]
    readings += [(900.0, 39.0), (901.0, 39.0), (902.0, 46.0), (903.0, 46.0)]
    track = fed(readings)
    assert track.broken_s == 902.0
    assert track.level() == pytest.approx(46.5, abs=0.5)


@pytest.mark.parametrize("repeated_s", [3, 30])
def test_a_catch_up_after_a_hole_is_no_climb(repeated_s: int) -> None:
    """Rows that repeat the old value after a hole leave the climb in the hole, spread over it."""
    track = fed([(float(t), float(30 + t // 60)) for t in range(600)])
    track.restart()
    for t in range(900, 900 + repeated_s):
        track.add(float(t), 39.0)
    track.restart()  # the jump is not believed at first
    now = 903.0 + repeated_s
    track.add(now, 45.0)
    assert track.at(now - 10.0, track.level()) > 44.0
    (passed_s,) = track.last_below([42.0], track.level())
    assert passed_s is not None
    assert passed_s < 900.0


def test_a_jump_of_the_sensor_takes_the_past_along() -> None:
    """A jump out of no hole is no heat: rates over it stay those of before, and going back too."""
    track = fed([(float(t), float(30 + t // 60)) for t in range(600)])
    before = track.levels[:]
    track.add(600.0, 51.0)
    assert track.at(540.0, track.level()) == pytest.approx(50.0, abs=1.5)
    track.add(601.0, 39.0)
    assert track.levels[: len(before)] == pytest.approx(before, abs=1.5)


def test_restart_keeps_the_past_and_breaks_the_path() -> None:
    """After a blind gap the old path stays, but the last steps are not joined to the new ones."""
    track = fed([(float(t), float(30 + t // 60)) for t in range(600)])
    track.restart()
    assert track.value is None
    track.add(1200.0, 45.0)
    assert track.broken_s == 1200.0
    assert track.level() == pytest.approx(45.5)


@pytest.mark.parametrize(
    ("target", "above", "expected"),
    [(85.0, False, 85.0), (84.3, False, 85.0), (85.0, True, 86.0), (84.3, True, 85.0)],
)
def test_target_is_the_first_reading_that_counts(
    target: float, above: bool, expected: float
) -> None:
    """With whole degrees 84.3 is reached by the reading 85, and 85 is passed by the reading 86."""
    track = fed([(float(t), float(30 + t // 60)) for t in range(600)])
    assert track.target_level(target, above) == expected


def test_after_a_real_fall_the_next_rise_is_another_warm_up() -> None:
    """Up, down by 20, up again: the past begins at the trough; a dip of a few degrees is none."""
    path = [(float(t), floor(60.0 + abs(t - 1200) / 60.0) * 1.0) for t in range(1800)]
    track = fed(path)
    assert track.start_s == pytest.approx(1200.0, abs=70.0)
    assert min(track.levels) == track.start_level == pytest.approx(61.0)
    dip = fed([(float(t), floor(60.0 + abs(t - 300) / 60.0) * 1.0) for t in range(900)])
    assert dip.start_s == 0.0


@pytest.mark.slow
def test_memory_is_bounded_and_old_rates_survive() -> None:
    """A day of readings keeps a bounded path whose mean rate is still right."""
    rng = random.Random(2)
    track = Track()
    for t in range(0, 86400, 5):
        track.add(float(t), 20.0 + 60.0 * (1 - exp(-t / 20000.0)) + rng.gauss(0, 0.05))
    assert len(track.times) <= 480
    assert track.at(20000.0, track.level()) == pytest.approx(20 + 60 * (1 - exp(-1)), abs=1.0)


@settings(deadline=None, max_examples=80)
@given(
    st.lists(st.tuples(st.floats(0.05, 30.0), st.floats(-39.0, 180.0)), min_size=1, max_size=120),
    st.sampled_from([1.0, 0.5, 0.03125]),
)
def test_any_readings_give_a_level_near_the_last_one(
    steps: list[tuple[float, float]], quantum: float
) -> None:
    """Whatever comes in, the path stays in order and the level stays within reach of readings."""
    track = Track()
    now = 0.0
    for wait, value in steps:
        now += wait
        track.add(now, round(value / quantum) * quantum)
    level = track.level()
    assert track.times == sorted(track.times)
    assert -100.0 < level < 250.0
    if not track.fine:
        assert abs(level - (track.value or 0.0)) <= 1.5 * max(track.quantum_c, 1.0)
