"""The window tracker's rules, one by one, and its properties."""

import math
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.core.band import Band, Crossing, Place, WindowTracker
from warmwatch.core.events import EventKind

BAND = Band(80.0, 90.0)


def tracker(confirm_s: float = 3.0, band: Band = BAND) -> WindowTracker:
    return WindowTracker(band, deadband_c=1.0, confirm_s=confirm_s)


def feed(
    subject: WindowTracker, temperatures: Sequence[float], start_s: float = 0.0
) -> list[Crossing]:
    """Step one reading a second; return the crossings."""
    steps = [subject.step(start_s + at, fluid_c) for at, fluid_c in enumerate(temperatures)]
    return [step for step in steps if step is not None]


@pytest.mark.parametrize(("low_c", "high_c"), [(90, 80), (80, 80), (math.nan, 80), (80, math.nan)])
def test_a_band_that_is_none_is_refused(low_c: float, high_c: float) -> None:
    """The wrong way round, zero wide or not a number is no band."""
    with pytest.raises(ValueError, match="below the upper edge"):
        Band(low_c, high_c)


@pytest.mark.parametrize("edge_c", [80.0, 90.0])
def test_both_edges_belong_to_the_band(edge_c: float) -> None:
    """A fluid that stands exactly on an edge is inside."""
    assert edge_c in BAND
    assert [c.kind for c in feed(tracker(), [edge_c] * 4)] == [EventKind.ENTERED]


def test_crossing_and_confirmation_are_both_reported() -> None:
    """The crossing is the first reading inside; the confirmation comes confirm_s later."""
    subject = tracker()
    crossings = feed(subject, [78, 79, 80, 81, 82, 83, 84])
    assert [(c.kind, c.crossed_s) for c in crossings] == [(EventKind.ENTERED, 2.0)]
    assert subject.window is not None
    assert subject.window.entered_s == 5.0
    assert subject.window.entered_crossed_s == 2.0


def test_one_reading_is_no_confirmation() -> None:
    """At long intervals two readings are needed, however long the first one is past."""
    subject = tracker()
    assert subject.step(0.0, 79.0) is None
    assert subject.step(60.0, 85.0) is None
    crossing = subject.step(120.0, 85.0)
    assert crossing is not None
    assert crossing.crossed_s == 60.0


def test_a_window_keeps_its_extremes_and_its_end() -> None:
    """The window that ends holds both crossings and every temperature between them."""
    crossings = feed(tracker(), [79] * 4 + [80, 85, 88, 90, 90, 89] + [91] * 4)
    ended = crossings[-1].ended
    assert ended is not None
    assert (ended.entered_crossed_s, ended.left_crossed_s, ended.left_s) == (4.0, 10.0, 13.0)
    assert (ended.min_c, ended.max_c, ended.ended_by) == (80.0, 90.0, "left-high")


def test_a_windows_figures_are_those_inside_and_jitter_is_counted() -> None:
    """A reading outside, too short to end the window, is counted and is no figure of the stay."""
    subject = tracker()
    feed(subject, [79, 80, 79, 81, 82, 83, 84, 85, 91, 85, 85])
    window = subject.window_now()
    assert window is not None
    assert (window.min_c, window.max_c, window.beyond) == (81.0, 85.0, 1)


@given(st.lists(st.integers(78, 92), min_size=1, max_size=60))
def test_no_window_ever_shows_a_figure_outside_its_band(temperatures: list[int]) -> None:
    """However the readings jitter, what is said of a stay in the band lies in the band."""
    subject = tracker()
    ended = [crossing.ended for crossing in feed(subject, temperatures)]
    for window in (*ended, subject.window_now()):
        if window is not None:
            assert 80.0 <= window.min_c <= window.max_c <= 90.0


def test_coming_back_needs_a_step_more() -> None:
    """After leaving at the top, the top edge itself is not enough to be inside again."""
    subject = tracker()
    feed(subject, [85] * 4 + [91] * 4)
    assert feed(subject, [90.0] * 10, start_s=100) == []
    assert [c.kind for c in feed(subject, [89.0] * 4, start_s=200)] == [EventKind.ENTERED]


def test_several_windows_in_one_run() -> None:
    """Leaving and coming back makes a second window."""
    kinds = [c.kind for c in feed(tracker(), [85] * 4 + [92] * 4 + [88] * 4 + [70] * 4)]
    entered, high, low = EventKind.ENTERED, EventKind.LEFT_HIGH, EventKind.LEFT_LOW
    assert kinds == [entered, high, entered, low]


def test_a_start_above_the_band_is_told() -> None:
    """Too warm from the start is told, and no window is claimed."""
    (crossing,) = feed(tracker(), [95] * 4)
    assert crossing.kind is EventKind.LEFT_HIGH
    assert crossing.ended is None


def test_a_start_below_the_band_is_silent() -> None:
    """A cold start is the ordinary thing."""
    subject = tracker()
    assert feed(subject, [20] * 10) == []
    assert subject.place is Place.BELOW


def test_a_band_narrower_than_the_deadband_can_be_entered_again() -> None:
    """The deadband never closes a narrow band for good."""
    subject = tracker(band=Band(80.0, 81.0))
    kinds = [c.kind for c in feed(subject, [80.5] * 4 + [82] * 4 + [80.5] * 4)]
    assert kinds[-1] is EventKind.ENTERED


@pytest.mark.parametrize(("back_c", "enters"), [(80.5, True), (80.6, False)])
def test_the_deadband_of_a_narrow_band_is_half_of_it(back_c: float, enters: bool) -> None:
    """From either side its middle counts as inside again, and nothing nearer to the edge does."""
    subject = tracker(band=Band(80.0, 81.0))
    feed(subject, [80.5] * 4 + [82] * 4)
    assert bool(feed(subject, [back_c] * 4, start_s=10)) is enters


def test_lost_continuity_ends_the_window_at_the_last_good_reading() -> None:
    """What was not seen is not claimed."""
    subject = tracker()
    feed(subject, [85] * 10)
    ended = subject.lose(9.0, "blind")
    assert ended is not None
    assert (ended.left_s, ended.ended_by) == (9.0, "blind")
    assert subject.place is Place.UNSEEN
    assert subject.window is None


@given(st.sampled_from([80.0, 90.0]), st.lists(st.booleans(), min_size=1, max_size=300))
def test_jitter_of_one_step_does_not_chatter(edge_c: float, ups: list[bool]) -> None:
    """A quantised signal that jitters by one step about an edge enters once and leaves once.

    (The purpose of alarm deadband and delay, ISA-18.2 and EEMUA 191.)
    """
    outside_c = edge_c - 1.0 if edge_c == BAND.low_c else edge_c + 1.0
    kinds = [c.kind for c in feed(tracker(), [edge_c if up else outside_c for up in ups])]
    assert kinds.count(EventKind.ENTERED) <= 1
    assert len(kinds) <= 3


@given(st.lists(st.integers(70, 100), min_size=1, max_size=200))
def test_a_window_never_holds_a_long_stay_outside(temperatures: list[int]) -> None:
    """Independent count: no window covers confirm_s or more of readings outside the band."""
    subject = tracker()
    crossings = feed(subject, [float(t) for t in temperatures])
    ended = [c.ended for c in crossings if c.ended is not None]
    for window in [*ended, *([subject.window] if subject.window else [])]:
        end_s = window.left_crossed_s or float(len(temperatures))
        run = longest = 0
        for at in range(int(window.entered_crossed_s), int(end_s)):
            run = run + 1 if temperatures[at] not in range(80, 91) else 0
            longest = max(longest, run)
        assert longest <= 3


def test_dithering_below_is_below_from_the_start() -> None:
    """A value that jitters about the lower edge from the first reading on is not left unplaced."""
    subject = tracker()
    assert feed(subject, [79.0, 80.0] * 100) == []
    assert subject.place is Place.BELOW


def test_noise_about_the_top_does_not_keep_the_claim() -> None:
    """When as many readings are above as inside, the fluid is not claimed to be inside."""
    kinds = [c.kind for c in feed(tracker(), [88] * 4 + [91, 90] * 10)]
    assert kinds == [EventKind.ENTERED, EventKind.LEFT_HIGH]


def test_noise_with_more_readings_inside_keeps_the_claim() -> None:
    """Outside counts as left only with more readings outside than inside (docs/watch.md)."""
    kinds = [c.kind for c in feed(tracker(), [88] * 4 + [91, 90, 90] * 10)]
    assert kinds == [EventKind.ENTERED]


def test_a_window_being_left_ends_at_the_crossing_when_the_signal_is_lost() -> None:
    """What was seen above the band just before a gap is not counted as inside."""
    subject = tracker()
    feed(subject, [88, 88, 88, 88, 89.9, 90.5, 91])
    ended = subject.lose(6.0, "blind")
    assert ended is not None
    assert (ended.left_s, ended.max_c) == (5.0, 89.9)


def test_a_fluid_above_the_band_is_likely_above_before_that_is_confirmed() -> None:
    """Only while no place is confirmed; the edge itself is inside, and no fluid says nothing."""
    tracker = WindowTracker(Band(80, 90), deadband_c=1.0, confirm_s=3.0)
    assert tracker.likely_place(90.1) is Place.ABOVE
    assert [tracker.likely_place(c) for c in (90.0, 70.0, None)] == [Place.UNSEEN] * 3
    tracker.step(0.0, 70.0)
    assert tracker.likely_place(95.0) is Place.BELOW
