"""From readings to features, against closed-form warm-ups and against the watch itself."""

import json
import math
from dataclasses import asdict, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.compare.made import BAND, START_UTC_S, Warm, gap, mark, run_of, values, warm_items
from warmwatch.analysis.methods.run import RunFeatures, features_from_mapping
from warmwatch.analysis.methods.trace import Trace
from warmwatch.core.band import Band
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.job import Job
from warmwatch.core.reading import Item, MarkName, Reading
from warmwatch.core.watch import Watch

WARM = Warm(rate=2.5, start_c=40.3)


def features_of(items: list[Item], job: Job | None = None) -> RunFeatures:
    return run_of(items, job=job).features


def test_crossings_are_those_of_the_lumped_mass() -> None:
    """Each whole degree is reached when t = tau ln((T_end - T0)/(T_end - T)) says.

    Textbook: lumped capacitance. A mean over 5 s of a curved rise lies a hair below it: 0.2 s.
    """
    found = features_of(list(warm_items(WARM, 1800)))
    assert found.climb_from_c == 41
    for offset, at_s in enumerate(found.climb_s[:50]):
        assert at_s == pytest.approx(WARM.time_to(41.0 + offset), abs=0.2)
    assert found.low_s == pytest.approx(WARM.time_to(80.0), abs=0.2)


@pytest.mark.parametrize("every_s", [0.1, 0.5, 2.0, 5.0])
def test_how_often_was_read_changes_nothing_much(every_s: float) -> None:
    """Recordings at 10 Hz and at 0.2 Hz give the same crossings within one reading."""
    job = Job(BAND, poll_s=every_s)
    found = features_of(list(warm_items(WARM, 1500, every_s=every_s)), job)
    for level in (50.0, 60.0, 70.0, 80.0):
        assert found.reached_s(level) == pytest.approx(WARM.time_to(level), abs=0.3)


def test_noise_does_not_make_crossings_early() -> None:
    """With 0.3 degC of noise a level is still reached within 20 s of the truth."""
    found = features_of(list(warm_items(WARM, 1500, noise_c=0.3, seed=4)))
    for level in (50.0, 60.0, 70.0, 80.0):
        assert found.reached_s(level) == pytest.approx(WARM.time_to(level), abs=20.0)


def test_levels_outside_the_recording_are_not_known() -> None:
    """Below the start, above the end and between whole degrees nothing is extrapolated."""
    found = features_of(list(warm_items(WARM, 600)))
    assert found.reached_s(40.0) is None
    assert found.reached_s(79.0) is None
    assert found.reached_s(50.5) is None
    assert found.low_s is None


def without(items: list[Item], from_s: float, to_s: float) -> list[Item]:
    return [item for item in items if not from_s < item.elapsed_s < to_s]


def test_a_crossing_inside_a_gap_is_not_known() -> None:
    """What was reached while nothing was read has no time, and the gap is told with its length."""
    at_s = WARM.time_to(60.0)
    found = features_of(without(list(warm_items(WARM, 1500)), at_s - 20.0, at_s + 20.0))
    assert found.reached_s(60.0) is None
    assert found.reached_s(50.0) is not None
    assert found.reached_s(70.0) is not None
    (hole,) = found.gaps
    assert hole.clock_known
    assert hole.to_s - hole.from_s == pytest.approx(40.0, abs=2.0)


def test_a_gap_whose_length_the_wall_clock_denies_is_told_so() -> None:
    """The laptop slept: its steady clock stood still, so the length of the gap is not known."""
    items = list(warm_items(WARM, 1500))
    slept = [
        item if item.elapsed_s <= 300 else replace(item, utc_s=(item.utc_s or 0.0) + 600.0)
        for item in items
    ]
    found = features_of([*slept[:301], gap(300.5), *slept[301:]])
    (hole,) = found.gaps
    assert not hole.clock_known
    assert hole.why == "the laptop slept"


def test_without_wall_time_the_length_of_a_gap_is_not_known() -> None:
    """A foreign recording without wall times cannot confirm how long nothing was read."""
    items = [replace(item, utc_s=None) for item in warm_items(WARM, 900)]
    (hole,) = features_of(without(items, 300.0, 340.0)).gaps
    assert not hole.clock_known


def test_a_jump_is_no_warming() -> None:
    """A reading that jumps by 15 degC and stays is a break: levels across it are unknown."""
    items = list(warm_items(WARM, 600))
    jumped = [
        replace(item, values={**item.values, "fluid_c": item.values["fluid_c"] + 15.0})
        if isinstance(item, Reading) and item.elapsed_s > 300
        else item
        for item in items
    ]
    found = features_of(jumped)
    assert [hole.why for hole in found.gaps] == ["jump"]
    assert not found.gaps[0].clock_known
    inside_c = math.ceil(WARM.at(300)) + 5
    assert found.reached_s(float(inside_c)) is None


def test_doubtful_readings_are_counted_and_not_used() -> None:
    """A fault code of -40 degC between good readings moves nothing."""
    items = list(warm_items(WARM, 900))
    faulty = Reading(400.0, values(-40.0))
    found = features_of([*items[:400], faulty, *items[401:]])
    assert found.doubtful == 1
    assert found.reached_s(60.0) == pytest.approx(WARM.time_to(60.0), abs=0.5)


@pytest.mark.parametrize(
    ("more", "start_c"), [({"ambient_c": 68.0}, 40.0), ({}, 104.0)], ids=["ambient", "fluid"]
)
def test_fahrenheit_read_as_celsius_is_doubted(more: dict[str, float], start_c: float) -> None:
    """A fluid of 160 or an air of 68 "degC" is degF: the recording is left out with the reason."""
    items: list[Item] = [
        Reading(float(s), {**values(start_c + s / 10.0), **more}) for s in range(600)
    ]
    assert "looks-fahrenheit" in features_of(items).doubt


def test_no_good_reading_gives_no_features() -> None:
    """A recording in which the fluid was never read has nothing to compare."""
    trace = Trace(Job(BAND))
    for second in range(30):
        trace.step(Reading(float(second), {"engine_rpm": 700.0}))
    assert trace.features() is None


@pytest.mark.slow
@given(st.lists(st.tuples(st.floats(0.5, 12.0), st.floats(-3.0, 4.0)), min_size=3, max_size=120))
def test_windows_are_those_of_the_watch(moves: list[tuple[float, float]]) -> None:
    """Whatever the readings, the longest stay is one of the windows that the watch itself found."""
    job, now_s, fluid_c = Job(Band(80.0, 84.0)), 0.0, 79.0
    items: list[Item] = []
    for wait_s, step_c in moves:
        now_s, fluid_c = now_s + wait_s, min(95.0, max(70.0, fluid_c + step_c))
        items.append(Reading(now_s, values(fluid_c), utc_s=START_UTC_S + now_s))
    watch, trace = Watch(job, Forecaster()), Trace(job)
    for item in items:
        watch.step(item)
        trace.step(item)
    snapshot, found = watch.snapshot(), trace.features()
    assert found is not None
    windows = [*snapshot.windows, *([snapshot.window] if snapshot.window else [])]
    if not windows:
        assert found.window is None
        return
    assert found.window is not None
    last_s = snapshot.last_good_s or 0.0
    lengths = [
        (w.left_crossed_s if w.left_crossed_s is not None else last_s) - w.entered_crossed_s
        for w in windows
    ]
    assert found.window.lasted_s == pytest.approx(max(lengths), abs=1e-3)


def test_holds_are_those_of_the_watch() -> None:
    """The holds that are counted are the hold events of the watch."""
    items: list[Item] = []
    for second in range(300):
        loaded = second % 70 < (4 if second < 140 else 9)
        items.append(Reading(float(second), values(60.0, "loaded" if loaded else "idle")))
    watch = Watch(Job(BAND))
    told = [r.kind for item in items for r in watch.step(item) if isinstance(r, Event)]
    found = features_of(items).holds
    assert found.count == told.count(EventKind.HOLD_START) == 5
    assert found.over_limit == told.count(EventKind.HOLD_LIMIT) == 3
    assert found.longest_s == 9.0
    assert found.rest_missing == 0


def test_an_engine_speed_that_cannot_be_makes_no_hold() -> None:
    """A speed out of range (a unit's not-available code) is passed over, as the watch does it."""
    items: list[Item] = []
    for second in range(120):
        odd = {"engine_rpm": 60000.0} if 30 <= second < 40 else {}
        items.append(Reading(float(second), values(60.0) | odd))
    watch = Watch(Job(BAND))
    told = [r.kind for item in items for r in watch.step(item) if isinstance(r, Event)]
    assert told.count(EventKind.HOLD_START) == features_of(items).holds.count == 0


def test_time_that_stays_behind_breaks_the_piece() -> None:
    """Where the watch goes blind because times stay behind, no window runs on across them."""
    ahead: list[Item] = [Reading(float(s), values(85.0)) for s in range(100)]
    behind: list[Item] = [Reading(float(s), values(85.0)) for s in range(50, 100)]
    after: list[Item] = [Reading(float(s), values(85.0)) for s in range(100, 120)]
    items = [*ahead, *behind, *after]
    watch = Watch(Job(BAND))
    told = [r.kind for item in items for r in watch.step(item) if isinstance(r, Event)]
    assert EventKind.BLIND in told
    found = features_of(items)
    assert [gap.from_s for gap in found.gaps] == [99.0]
    assert found.window is not None
    assert found.window.lasted_s == 99.0


def test_plug_out_tells_how_steady_the_fluid_was() -> None:
    """While the plug is out the drift is the slope of the fluid: 0.6 degC/min here."""
    items: list[Item] = [
        Reading(float(s), values(82.0 + 0.01 * s), utc_s=START_UTC_S + s) for s in range(300)
    ]
    marked = [*items[:100], mark(100.5, MarkName.PLUG_OUT), *items[100:200]]
    marked += [mark(199.5, MarkName.PLUG_IN), *items[200:]]
    found = features_of(marked).plug_out
    assert found is not None
    assert found.rate_c_per_min == pytest.approx(0.6, abs=0.01)
    assert found.range_c == pytest.approx(1.0, abs=0.1)
    assert found.fluid_c == pytest.approx(83.0, abs=0.1)


def test_what_follows_the_job_is_no_overshoot() -> None:
    """After the plug is in, the drive home may heat the fluid as it likes."""
    items: list[Item] = [Reading(float(s), values(82.0 + 0.02 * s)) for s in range(900)]
    done = [*items[:100], mark(99.5, MarkName.PLUG_IN), *items[100:]]
    assert features_of(done).peak_c == pytest.approx(84.0, abs=0.1)
    assert features_of(items).peak_c == pytest.approx(100.0, abs=0.1)
    assert features_of(items).still_rising


def test_features_read_back_from_json_the_same() -> None:
    """What is kept between runs is the same to the last digit."""
    items = list(warm_items(WARM, 1500, noise_c=0.1))
    found = features_of([*items[:700], mark(699.5, MarkName.PLUG_OUT), *items[710:]])
    assert features_from_mapping(json.loads(json.dumps(asdict(found), default=list))) == found
