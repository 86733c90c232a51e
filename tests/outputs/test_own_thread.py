"""Lines for pipes and terminals: written apart from the watch, whole, and without raw bytes."""

import io
import json
import threading
from dataclasses import replace

import pytest

from tests.outputs.views import BAND, Played, ramp
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.core.reason import Reason
from warmwatch.outputs import own_thread
from warmwatch.outputs.base import Entry, Missed, Output, Summary
from warmwatch.outputs.guard import Guarded
from warmwatch.outputs.jsonlines import JsonLines, entry_object
from warmwatch.outputs.own_thread import FULL, MOST, UNREAD, OwnThread
from warmwatch.outputs.plain import PlainLines
from warmwatch.words.status import ahead_texts, status_line
from warmwatch.words.view import View


class Paused:
    """An output whose reader pauses until `reads` is set."""

    def __init__(self) -> None:
        self.reads = threading.Event()
        self.took: list[Entry] = []
        self.closed = False

    def take(self, entry: Entry) -> None:
        self.reads.wait(20.0)
        self.took.append(entry)

    def show(self, view: View) -> None:
        pass

    def close(self, summary: Summary) -> None:
        self.closed = True


def apart_from(output: Output) -> OwnThread:
    return OwnThread(Guarded(output, lambda text: None))


def reading(number: int) -> Reading:
    return Reading(float(number), {"fluid_c": 50.0})


def summary(stopped_by: str = "end of input") -> Summary:
    return Summary(Played().view(), stopped_by)


def test_a_paused_reader_costs_counted_readings_and_no_event() -> None:
    """Beyond MOST readings are left out, told to all at once, and counted where they are missing;
    events come through.
    """
    output = Paused()
    lines = apart_from(output)
    event = Event(1.0, EventKind.ENTERED, 80.0)
    for number in range(3 * MOST):
        lines.take(reading(number))
        if number % 10 == 0:
            lines.take(event)
    assert lines.full
    assert lines.notices() == [Notice(UNREAD, alarm=True)]
    assert lines.notices() == []
    output.reads.set()
    lines.close(summary())
    took = [entry for entry in output.took if isinstance(entry, Reading)]
    missed = sum(entry.count for entry in output.took if isinstance(entry, Missed))
    assert len(took) + missed == 3 * MOST
    assert took == [reading(n) for n in range(len(took))]
    assert sum(entry is event for entry in output.took) == 3 * MOST / 10
    assert output.closed
    assert not lines.failed


def test_the_end_does_not_wait_for_a_reader_that_never_comes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Asked to end, an output that is not read is left behind, and counts as failed."""
    monkeypatch.setattr(own_thread, "LAST_S", 0.05)
    output = Paused()
    lines = apart_from(output)
    lines.take(reading(0))
    lines.close(summary("interrupt"))
    assert lines.failed
    output.reads.set()


def test_an_output_that_fails_holds_nobody_up() -> None:
    """After a failure nothing is waited for, and the end comes."""

    class Failing(Paused):
        def take(self, entry: Entry) -> None:
            raise OSError("No space left on device")

    lines = apart_from(Failing())
    for number in range(2 * FULL):
        lines.take(reading(number))
    lines.close(summary())
    assert lines.failed
    assert not lines.full


def test_what_is_missing_stands_in_the_json() -> None:
    """A program must not take a gap of the output for a gap of the signal."""
    assert entry_object(Missed("left out", count=7)) == {"kind": "missed", "lines": 7}


def test_a_vehicles_own_names_never_replace_ours_in_json() -> None:
    """`lines:` takes any name; RFC 8259 wants names in an object to be unique."""
    names = {"kind": 3.0, "kind_": 4.0, "time": 5.0, "elapsed_s": 6.0, "doubts": 7.0}
    line = entry_object(Reading(1.0, {"fluid_c": 80.0, **names}, {"x": "why"}))
    assert line is not None
    assert (line["kind"], line["elapsed_s"], line["time"]) == ("reading", 1.0, None)
    assert line["doubts"] == {"x": "why"}
    others = {name: value for name, value in line.items() if name.endswith("_")}
    assert sorted(others.values(), key=str) == [3.0, 4.0, 5.0, 6.0, 7.0]


NASTY = "\x1b]0;title\x07\x1b[2J\r\n07:46  In the band\x9b31m"


def test_no_note_or_notice_steers_the_terminal() -> None:
    """ECMA-48 control sequences begin with ESC or CSI (0x9B); a line end would fake a line."""
    out, errors, told = io.StringIO(), io.StringIO(), list[str]()
    plain = PlainLines(out, errors, Job(BAND))
    for entry in (
        Mark(1.0, MarkName.NOTE, NASTY),
        Notice(NASTY),
        Event(2.0, EventKind.DOUBTFUL, 50.0, reasons=(Reason(NASTY),)),
    ):
        plain.take(entry)
        JsonLines(out, told.append).take(entry)
    shown = out.getvalue() + errors.getvalue() + "".join(told)
    assert all(char.isprintable() or char == "\n" for char in shown)
    assert len(errors.getvalue().splitlines()) == 1
    lines = out.getvalue().splitlines()
    assert len(lines) == 4  # one line for each mark and event, plain and JSON
    assert json.loads(lines[1])["note"] == NASTY


@pytest.mark.slow
def test_plain_lines_word_the_forecast_like_the_screen() -> None:
    """One wording for all: the figures are those of core/wording.py."""
    forecast = Forecast(60.0, "low", 240.0, 360.0, 540.0, 0.9, None, 2.0)
    shown = Played().take(ramp(40, 60)).view()
    seen = replace(shown, snapshot=replace(shown.snapshot, forecast=forecast, blind=False))
    assert status_line(seen).endswith(f"; {ahead_texts(seen)[1]}")
