"""The trace of a recording: what was believed, what was not, and when nothing was seen."""

import math

import pytest

from tests.outputs.invented import JOB, reading, warm_c, warm_up, with_marks
from warmwatch.core.events import Event
from warmwatch.core.phase import Phase
from warmwatch.core.reading import Item, MarkName, Reading, Tick
from warmwatch.core.watch import Watch
from warmwatch.outputs.picture.trace import make_trace


@pytest.mark.slow
def test_events_are_those_of_the_watch() -> None:
    """The trace folds the items as the watch does, so it has the same events."""
    items = warm_up()
    watch = Watch(JOB)
    events = [r for item in items for r in watch.step(item) if isinstance(r, Event)]
    assert make_trace(JOB, items).events == events


@pytest.mark.slow
def test_window_lies_between_the_crossings_of_the_curve() -> None:
    """The window begins and ends at the first readings past the edges, found here by hand."""
    items = warm_up()
    inside = [t for t in range(0, 2700, 5) if 80 <= round(warm_c(t)) <= 90]
    (window,) = make_trace(JOB, items).windows
    assert window.entered_crossed_s == inside[0]
    assert window.left_crossed_s == inside[-1] + 5


def test_window_still_open_at_the_end_is_kept() -> None:
    """A recording that ends inside the band has a window without an end."""
    (window,) = make_trace(JOB, [reading(t, 85.0) for t in range(10)]).windows
    assert window.left_s is None


def test_silence_breaks_the_curve_and_is_a_gap() -> None:
    """From the last good reading to the next one nothing is claimed, and the line is broken."""
    items: list[Item] = [reading(t, 50.0) for t in range(10)]
    items += [Tick(14.5)]
    items += [reading(t, 51.0) for t in range(60, 70)]
    trace = make_trace(JOB, items)
    assert [(gap.start_s, gap.end_s) for gap in trace.gaps] == [(9.0, 60.0)]
    values = list(trace.fluid.celsius)
    assert [i for i, value in enumerate(values) if math.isnan(value)] == [10]
    assert len(values) == 21


def test_silence_until_the_end_is_a_gap() -> None:
    """A recording that ends blind has its gap to the end."""
    trace = make_trace(JOB, [reading(0, 50.0), reading(1, 50.0), Tick(6.5), Tick(30.0)])
    assert [(gap.start_s, gap.end_s) for gap in trace.gaps] == [(1.0, 30.0)]


def test_readings_not_believed_are_apart() -> None:
    """Fault codes and broken answers never reach the curve, and each is kept once."""
    items: list[Item] = [reading(t, 50.0) for t in range(10)]
    items[3] = reading(3, 215.0)
    items[5] = Reading(5.0, {}, {"fluid_c": "broken answer"})
    trace = make_trace(JOB, items)
    assert list(trace.doubtful.elapsed_s) == [3.0, 5.0]
    assert trace.doubtful.celsius[0] == 215.0
    assert math.isnan(trace.doubtful.celsius[1])
    assert list(trace.fluid.celsius) == [50.0] * 8


def test_a_doubted_coolant_is_left_out() -> None:
    """The coolant line has only values that the link believes, and breaks over long pauses."""
    items: list[Item] = [
        reading(0, 50.0, coolant_c=60.0),
        Reading(1.0, {"fluid_c": 50.0, "coolant_c": 215.0}, {"coolant_c": "fault code"}),
        reading(100, 50.0, coolant_c=80.0),
    ]
    values = list(make_trace(JOB, items).coolant.celsius)
    assert values[0] == 60.0
    assert math.isnan(values[1])
    assert values[2:] == [80.0]


def test_phases_join_and_end_where_readings_stop() -> None:
    """Stays of one phase are one, the next begins where the last ended, silence parts them."""
    idle = {"engine_rpm": 750.0, "speed_kmh": 0.0}
    fast = {"engine_rpm": 2000.0, "speed_kmh": 50.0}
    items = [reading(t, 50.0, **idle) for t in range(5)]
    items += [reading(t, 50.0, **fast) for t in range(5, 10)]
    items += [reading(t, 50.0, **fast) for t in range(100, 105)]
    stays = make_trace(JOB, items).stays
    assert [(s.phase, s.start_s, s.end_s) for s in stays] == [
        (Phase.IDLE, 0.0, 5.0),
        (Phase.DRIVING, 5.0, 9.0),
        (Phase.DRIVING, 100.0, 104.0),
    ]


def test_marks_are_kept_in_order() -> None:
    """Marks with their notes are in the trace."""
    items = with_marks(warm_up(100), (40.5, MarkName.PLUG_OUT, ""), (50.5, MarkName.NOTE, "steam"))
    assert [(m.name, m.note) for m in make_trace(JOB, items).marks] == [
        (MarkName.PLUG_OUT, ""),
        (MarkName.NOTE, "steam"),
    ]


def test_nothing_makes_an_empty_trace() -> None:
    """No items make a trace with nothing in it."""
    trace = make_trace(JOB, [])
    assert (trace.start_s, trace.end_s, trace.windows, len(trace.fluid.celsius)) == (0, 0, [], 0)
