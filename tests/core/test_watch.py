"""The fold: blind and seeing, doubts, windows across gaps, determinism."""

import math
import re
from collections.abc import Iterable
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from warmwatch.core.band import Band
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.reason import Reason
from warmwatch.core.watch import Result, Watch
from warmwatch.words.events import event_text

JOB = Job(Band(80.0, 90.0))


def reading(elapsed_s: float, fluid_c: float, **more: float) -> Reading:
    return Reading(float(elapsed_s), {"fluid_c": float(fluid_c), **more})


def fold(watch: Watch, items: Iterable[Item]) -> list[Result]:
    return [result for item in items for result in watch.step(item)]


def kinds(results: Iterable[Result]) -> list[str]:
    return [str(result.kind) for result in results if isinstance(result, Event)]


def rise(start_c: float, per_min: float, seconds: int) -> list[Reading]:
    """A rise in whole degrees, one reading a second."""
    return [reading(t, int(start_c + per_min * t / 60)) for t in range(seconds)]


@pytest.mark.slow
def test_a_whole_warm_up_tells_its_story_in_order() -> None:
    """Near, entered, top near, left: each once, in this order."""
    results = fold(Watch(JOB), rise(40, 2.0, 1700))
    assert kinds(results) == ["nearing", "entered", "top-nearing", "left-high"]


def test_silence_is_blind_at_the_limit_and_ends_the_window() -> None:
    """No good reading for five seconds is blind, whoever notices it first."""
    watch = Watch(JOB)
    fold(watch, [reading(t, 85) for t in range(10)])
    assert watch.due_s == 14.0
    (blind,) = watch.step(Tick(14.0))
    assert isinstance(blind, Event)
    assert (blind.kind, blind.elapsed_s, blind.fluid_c) == (EventKind.BLIND, 14.0, 85.0)
    (window,) = watch.windows
    assert (window.left_s, window.ended_by) == (9.0, "blind")
    assert watch.snapshot().window is None


def test_the_same_silence_is_told_by_the_next_reading() -> None:
    """Without a tick the reading after the gap brings the same event with the same time."""
    watch = Watch(JOB)
    fold(watch, [reading(t, 85) for t in range(10)])
    results = [r for r in watch.step(reading(60, 85)) if isinstance(r, Event)]
    assert [(str(r.kind), r.elapsed_s) for r in results] == [("blind", 14.0), ("seeing", 60.0)]


def test_a_link_that_never_speaks_is_blind() -> None:
    """Blindness needs no first reading."""
    assert kinds(fold(Watch(JOB), [Tick(5.0)])) == ["blind"]


def test_a_recording_may_begin_late() -> None:
    """A first reading at 1000 s is a start, not a gap."""
    assert kinds(fold(Watch(JOB), [reading(1000 + t, 85) for t in range(4)])) == ["entered"]


def test_doubtful_readings_do_not_keep_the_watch_seeing() -> None:
    """A stream of fault codes is as blind as silence."""
    watch = Watch(JOB)
    results = fold(watch, [reading(0, 85), *(reading(t, -40) for t in range(1, 20))])
    assert kinds(results) == ["doubtful", "blind"]
    assert watch.doubtful == 19
    assert watch.blind


def test_a_slow_link_is_given_three_polls() -> None:
    """The limit grows with the link's own period: three of them where that is more than 5 s."""
    job = Job(Band(80.0, 90.0), poll_s=10.0)
    assert kinds(fold(Watch(job), [reading(10 * t, 85) for t in range(5)])) == ["entered"]
    assert Watch(job).due_s == 30.0


def test_a_told_gap_is_blind_at_once() -> None:
    """A tick that says why continuity is lost does not wait for the limit."""
    watch = Watch(JOB)
    fold(watch, [reading(t, 85) for t in range(5)])
    (blind,) = watch.step(Tick(4.5, gap="the laptop slept"))
    assert isinstance(blind, Event)
    assert (blind.elapsed_s, blind.text) == (4.5, "the laptop slept")


def test_after_a_gap_the_band_is_confirmed_anew() -> None:
    """In band before and after a gap are two windows."""
    watch = Watch(JOB)
    items = [reading(t, 85) for t in [*range(10), *range(30, 40)]]
    assert kinds(fold(watch, items)) == ["entered", "blind", "seeing", "entered"]
    assert watch.windows[0].left_s == 9.0
    assert watch.snapshot().window is not None


def test_time_that_runs_backwards_is_told_and_not_used() -> None:
    """Repeated and earlier times change nothing but the count of doubtful readings."""
    watch = Watch(JOB)
    fold(watch, [reading(t, 70) for t in range(10)])
    results = fold(watch, [reading(3, 85), reading(4, 85)])
    assert kinds(results) == ["doubtful"]
    assert watch.doubtful == 2
    assert watch.snapshot().fluid_c == 70.0


def test_the_same_doubt_is_told_rarely() -> None:
    """A sensor that fails every other second is one story, not thirty."""
    items = [reading(t, -40 if t % 2 else 60) for t in range(60)]
    assert kinds(fold(Watch(JOB), items)).count("doubtful") == 1


@pytest.mark.slow
def test_levelling_off_below_the_band_is_said() -> None:
    """A fluid that stands still at 70 will not reach 80 that way; how far short is said, too."""
    items = [*rise(40, 2.0, 900), *(reading(900 + t, 70) for t in range(900))]
    results = fold(Watch(JOB), items)
    assert "levelling-off" in kinds(results)
    said = [r for r in results if isinstance(r, Event) and r.kind is EventKind.LEVELLING_OFF]
    text = event_text(said[0], JOB.band, "C")
    assert re.fullmatch(
        r"Levelling off near 7\d °C, \d °C below the band \(70 °C now\): "
        r"heating like this will not reach it\.",
        text,
    )


@pytest.mark.slow
def test_levelling_off_far_lower_than_was_said_is_said_again() -> None:
    """The mechanic who heard "1 below the band" hears it when it becomes 5, and not at each tenth.

    A first-order climb that ends at 75.5, 4.5 below the band; whole degrees (seen: 76.5).
    """
    items = [reading(t, int(75.5 - 55.5 * math.exp(-t / 500.0))) for t in range(4000)]
    said = [
        r.text
        for r in fold(Watch(JOB), items)
        if isinstance(r, Event) and r.kind is EventKind.LEVELLING_OFF
    ]
    assert 1 <= len(said) <= 3
    last = Reason.parse(said[-1])
    assert last.code == "levels-off"
    assert 74.5 <= last.figures["level_c"] <= 77.0


def test_too_hot_is_told_once_until_it_has_cooled() -> None:
    """The fluid's ceiling is told at the second reading at or above it."""
    job = Job(Band(80.0, 90.0), fluid_ceiling_c=100.0)
    items = [reading(t, 100) for t in range(20)] + [reading(20 + t, 96) for t in range(3)]
    items += [reading(30 + t, 101) for t in range(3)]
    assert kinds(fold(Watch(job), items)).count("too-hot") == 2


def test_the_coolant_has_a_ceiling_of_its_own() -> None:
    """An engine that overheats is told even while the fluid is cool."""
    items = [reading(t, 40, coolant_c=118.0) for t in range(3)]
    assert "too-hot" in kinds(fold(Watch(JOB), items))


def test_a_hold_is_timed_by_the_readings() -> None:
    """Start, limit at 5 s, end, and the end of a rest of 60 s (common practice, no source)."""
    idle = {"engine_rpm": 780.0, "speed_kmh": 0.0}
    held = {"engine_rpm": 2200.0, "speed_kmh": 0.0}
    items = [reading(t, 60, **(held if 10 <= t < 17 else idle)) for t in range(90)]
    results = [r for r in fold(Watch(JOB), items) if isinstance(r, Event)]
    told = [(str(r.kind), r.elapsed_s) for r in results]
    assert told == [
        ("hold-start", 12.0),
        ("hold-limit", 15.0),
        ("hold-end", 19.0),  # told once the release has lasted
        ("rest-over", 77.0),
    ]


def test_forecasts_come_at_most_once_a_second() -> None:
    """At 10 Hz there is one forecast for each second of recorded time."""
    results = fold(Watch(JOB), [reading(t / 10, 60 + t / 300) for t in range(600)])
    seconds = [int(r.elapsed_s) for r in results if isinstance(r, Forecast)]
    assert len(seconds) == len(set(seconds))


def test_the_plug_is_out_between_its_marks() -> None:
    """Plug out and plug in bound the time the plug is out."""
    watch = Watch(JOB)
    watch.step(Mark(10.0, MarkName.PLUG_OUT))
    assert watch.alarm.plug_out_s == 10.0
    watch.step(Mark(20.0, MarkName.PLUG_IN))
    assert watch.alarm.plug_out_s is None


@st.composite
def item_lists(draw: st.DrawFn) -> list[Item]:
    """Readings with jitter, glitches, gaps and repeats, ticks and marks among them."""
    now_s, items = 0.0, list[Item]()
    base_c = draw(st.integers(60, 95))
    for _ in range(draw(st.integers(1, 80))):
        now_s += draw(st.sampled_from([1.0, 1.0, 1.0, 0.1, 0.0, 4.9, 5.1, 30.0]))
        base_c += draw(st.sampled_from([0, 0, 1, 1, -1, 2]))
        kind = draw(st.sampled_from(["reading"] * 8 + ["glitch", "mark", "tick"]))
        if kind == "mark":
            items.append(Mark(now_s, MarkName.NOTE))
        elif kind == "tick":
            items.append(Tick(now_s))
        else:
            items.append(reading(now_s, -40 if kind == "glitch" else base_c))
    return items


@pytest.mark.slow
@given(item_lists())
def test_the_fold_is_deterministic(items: list[Item]) -> None:
    """The same items give the same results, each time."""
    assert fold(Watch(JOB), items) == fold(Watch(JOB), items)


@pytest.mark.slow
@given(item_lists(), st.integers(0, 80))
def test_any_split_of_the_input_gives_the_same_results(items: list[Item], at: int) -> None:
    """Folding in two parts is folding in one."""
    watch = Watch(JOB)
    assert fold(watch, items[:at]) + fold(watch, items[at:]) == fold(Watch(JOB), items)


@pytest.mark.slow
@given(item_lists())
def test_no_window_spans_a_blind_gap(items: list[Item]) -> None:
    """Independent check: inside every window, good readings follow each other within 5 s."""
    watch = Watch(JOB)
    results = fold(watch, items)
    blind_s = [r.elapsed_s for r in results if isinstance(r, Event) and r.kind == "blind"]
    end_s = items[-1].elapsed_s
    windows = [*watch.windows, *([w] if (w := watch.snapshot().window) else [])]
    for window in windows:
        left_s = end_s if window.left_s is None else window.left_s
        assert not [at for at in blind_s if window.entered_crossed_s < at < left_s]
        assert window.entered_crossed_s <= window.entered_s <= left_s


@pytest.mark.slow
@given(item_lists())
def test_ticks_change_no_event(items: list[Item]) -> None:
    """What silence causes is the same with a tick each second and with none."""
    last_s = max(item.elapsed_s for item in items)
    bare = [item for item in items if not isinstance(item, Tick)]
    if not bare or not isinstance(bare[0], Reading):
        return
    start_s = bare[0].elapsed_s
    ticks: list[Item] = [Tick(start_s + t) for t in range(int(last_s - start_s) + 1)]
    mixed = sorted([*bare, *ticks], key=lambda item: (item.elapsed_s, isinstance(item, Tick)))
    ordered = sorted(bare, key=lambda item: item.elapsed_s)
    told = [r for r in fold(Watch(JOB), [*ordered, Tick(last_s + 1)]) if isinstance(r, Event)]
    ticked = [r for r in fold(Watch(JOB), [*mixed, Tick(last_s + 1)]) if isinstance(r, Event)]
    assert ticked == told


@pytest.mark.slow
@pytest.mark.parametrize("count", [1_000, 5_000])
def test_memory_does_not_grow(count: int) -> None:
    """The fold's state stays the same size at five times the length (200 kB are the forecast's)."""
    import pickle

    watch = Watch(JOB)
    fold(watch, (reading(t, 60 + (t // 7) % 40) for t in range(count)))
    assert len(pickle.dumps(watch)) < 400_000


@pytest.mark.slow
@settings(max_examples=30)
@given(st.lists(st.sampled_from([76.0, 77.0, 78.0, 79.0]), min_size=1, max_size=40))
def test_nearing_does_not_chatter(levels: list[float]) -> None:
    """However the fluid dawdles below the band, `nearing` comes at most once in a minute."""
    levels_held = [level for level in levels for _ in range(30)]
    results = fold(Watch(JOB), [reading(t, level) for t, level in enumerate(levels_held)])
    told_s = [r.elapsed_s for r in results if isinstance(r, Event) and r.kind == "nearing"]
    assert all(later - earlier >= 60.0 for earlier, later in pairwise(told_s))


def test_a_clock_that_jumped_ahead_does_not_leave_the_last_value_standing() -> None:
    """Readings whose time runs behind for longer than the blind limit are as good as none."""
    watch = Watch(JOB)
    results = fold(watch, [reading(t, 85) for t in (*range(10), 10_000, *range(10, 30))])
    assert kinds(results)[-2:] == ["doubtful", "blind"]
    assert watch.blind


def test_negative_times_are_times() -> None:
    """A log that counts down to its start is watched like any other."""
    assert kinds(fold(Watch(JOB), [reading(t, 85) for t in range(-100, -90)])) == ["entered"]


@pytest.mark.slow
def test_cooling_away_is_not_nearing() -> None:
    """A fluid that left the band at the bottom and goes on cooling is not near it."""
    items = [reading(t, 85 - t / 60) for t in range(1200)]
    assert kinds(fold(Watch(JOB), items))[:3] == ["entered", "bottom-nearing", "left-low"]
    assert "nearing" not in kinds(fold(Watch(JOB), items))


@pytest.mark.slow
def test_cooling_towards_the_band_is_nearing() -> None:
    """A fluid too hot from the start is told when it comes near from above."""
    items = [reading(t, 100 - t / 60) for t in range(720)]
    assert kinds(fold(Watch(JOB), items)) == ["left-high", "nearing", "entered"]


def test_doubts_with_changing_figures_are_one_story() -> None:
    """The figures in a doubt's reason do not make it a new doubt."""
    items = [reading(t, 190 + t % 100) for t in range(50)]
    assert kinds(fold(Watch(JOB), items)).count("doubtful") == 1


def test_no_limit_of_blindness_goes_past_a_minute() -> None:
    """However slow the link says it is, silence of a minute is told."""
    assert Watch(Job(Band(80.0, 90.0), poll_s=1e8)).due_s == 60.0
    with pytest.raises(ValueError, match="blind_s"):
        Job(Band(80.0, 90.0), blind_s=1e9)
