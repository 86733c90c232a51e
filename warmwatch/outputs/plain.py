"""Plain lines: one for each event, and one every so often; for pipes, logs and small terminals."""

import time

from warmwatch.core.events import Event
from warmwatch.core.job import Job
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName
from warmwatch.errors import printable
from warmwatch.outputs.base import Entry, Summary
from warmwatch.outputs.stream import Sink
from warmwatch.words.events import (
    band_text,
    clock,
    event_text,
    place_text,
    temperature,
    window_text,
)
from warmwatch.words.forecast import forecast_text, levelling_text
from warmwatch.words.level import conditions_text, plug_texts
from warmwatch.words.view import View

STATUS_EVERY_S = 30.0
_EXPLAINED = (MarkName.PLUG_OUT, MarkName.STREAM, MarkName.DRIP, MarkName.NO_DRIP)
"""After these it is said what they mean, and how the conditions stand."""


class PlainLines:
    """Writes sentences to `stream`, notices to `notices`."""

    def __init__(self, stream: Sink, notices: Sink, job: Job) -> None:
        self._stream = stream
        self._notices = notices
        self._job = job
        self._status_s = time.monotonic()
        self._explain = False

    def take(self, entry: Entry) -> None:
        unit = self._job.unit
        if isinstance(entry, Event):
            text = _one_line(event_text(entry, self._job.band, unit))
            self._write(f"{clock(entry.elapsed_s)}  {text}")
        elif isinstance(entry, Mark):
            note = f": {_one_line(entry.note)}" if entry.note else ""
            self._write(f"{clock(entry.elapsed_s)}  Mark {entry.name}{note}")
            self._explain = entry.name in _EXPLAINED
        elif isinstance(entry, Notice):
            loud = "! " if entry.alarm or entry.lost else ""
            self._notices.write(f"{loud}{_one_line(entry.text)}\n")
            self._notices.flush()

    def show(self, view: View) -> None:
        if self._explain:
            self._explain = False
            for text in (*plug_texts(view), conditions_text(view)):
                self._write(f"       {text}")
        if time.monotonic() - self._status_s >= STATUS_EVERY_S:
            self._status_s = time.monotonic()
            self._write(status_line(view))

    def close(self, summary: Summary) -> None:
        for line in summary_lines(summary):
            self._write(line)

    def _write(self, text: str) -> None:
        self._stream.write(text + "\n")
        self._stream.flush()


def _one_line(text: str) -> str:
    """Return the text without what would steer a terminal or look like a line of ours."""
    return printable(" ".join(text.splitlines()))


def status_line(view: View) -> str:
    """Return the state in one line; a temperature is shown only while it is fresh."""
    snapshot, unit = view.snapshot, view.job.unit
    head = f"{clock(view.now_s)}  {place_text(snapshot.place, blind=snapshot.blind)}"
    if snapshot.blind or snapshot.fluid_c is None:
        return head
    shown = f"{head}, {temperature(snapshot.fluid_c, unit)}"
    if snapshot.forecast is None:
        return shown
    low = snapshot.forecast.edge == "low"
    band = view.job.band
    level = levelling_text(snapshot.forecast, band.low_c if low else band.high_c, unit)
    if level:
        return f"{shown}; {level}"
    goal = "to the band" if low else "to the top of the band"
    text = forecast_text(snapshot.forecast) or "not known"
    return f"{shown}; {goal}: {text}"


def summary_lines(summary: Summary) -> list[str]:
    """Return what the watch saw, as lines for people."""
    view = summary.view
    snapshot, unit = view.snapshot, view.job.unit
    windows = [*snapshot.windows, *([snapshot.window] if snapshot.window else [])]
    lines = [f"Band {band_text(view.job.band, unit)}, {snapshot.readings} readings."]
    lines += [f"  In the band {window_text(window, unit)}." for window in windows]
    if not windows:
        lines.append("  Never confirmed inside the band.")
    if snapshot.gaps or snapshot.doubtful:
        lines.append(
            f"  Losses of signal: {snapshot.gaps}; doubtful readings: {snapshot.doubtful}."
        )
    if snapshot.blind:
        lines.append("  Blind at the end: the last temperature is not known.")
    if view.recording_trouble:
        lines.append(f"  {view.recording_trouble}")
    if view.recording:
        lines += [f"Recording: {view.recording}", f"Next: warmwatch plot {view.recording}"]
        if snapshot.check is not None:
            lines.append(f"      warmwatch proof {view.recording}")
    return lines
