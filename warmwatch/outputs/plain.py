"""Plain lines: one for each event, and one every so often; for pipes, logs and small terminals."""

import time

from warmwatch.core.alarm import AlarmCode
from warmwatch.core.events import Event
from warmwatch.core.job import Job
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.core.snapshot import Snapshot
from warmwatch.core.steps import Step
from warmwatch.errors import printable
from warmwatch.outputs.base import AlarmChange, Entry, StepChange, Summary
from warmwatch.outputs.stream import Sink
from warmwatch.words.catalogue import next_lines, phrase, span
from warmwatch.words.events import band_text, clock, event_text, mark_text, window_text
from warmwatch.words.level import alarm_text, conditions_text, plug_texts
from warmwatch.words.status import status_line
from warmwatch.words.steps import step_text
from warmwatch.words.verdict import verdict_lines
from warmwatch.words.view import View

STATUS_EVERY_S = 30.0
_EXPLAINED = (MarkName.PLUG_OUT, MarkName.STREAM, MarkName.DRIP, MarkName.NO_DRIP)
"""After these it is said what they mean, and how the conditions stand."""
_OF_PLUG = (AlarmCode.LEFT_HIGH, AlarmCode.LEFT_LOW)
"""The events of the same names do not say that the plug is out."""


class PlainLines:
    """Writes sentences to `stream`, notices to `notices`."""

    def __init__(self, stream: Sink, notices: Sink, job: Job) -> None:
        self._stream = stream
        self._notices = notices
        self._job = job
        self._status_s = time.monotonic()
        self._explain_s: float | None = None
        self._insisting: frozenset[AlarmCode] = frozenset()
        self._events: set[str] = set()
        """Those since the last reading or mark."""

    def take(self, entry: Entry) -> None:
        unit = self._job.unit
        if isinstance(entry, Reading | Mark):
            self._events.clear()
        if isinstance(entry, Event):
            text = _one_line(event_text(entry, self._job.band, unit))
            self._write(f"{clock(entry.elapsed_s)}  {text}")
            self._events.add(str(entry.kind))
        elif isinstance(entry, Mark):
            self._write(f"{clock(entry.elapsed_s)}  {_one_line(mark_text(entry))}")
            self._explain_s = entry.elapsed_s if entry.name in _EXPLAINED else None
        elif isinstance(entry, AlarmChange):
            self._alarm(entry)
        elif isinstance(entry, StepChange) and _is_told(entry):
            self._write(f"{clock(entry.elapsed_s)}  {step_text(entry.step, self._job)}")
        elif isinstance(entry, Notice):
            loud = "! " if entry.alarm or entry.lost else ""
            self._notices.write(f"{loud}{_one_line(entry.text)}\n")
            self._notices.flush()

    def _alarm(self, change: AlarmChange) -> None:
        """Write an alarm that begins to insist, unless the event just written says as much."""
        new = {one.code: one for one in change.alarm.standing if not one.heard}
        for code, one in new.items():
            told = code in self._events and code not in _OF_PLUG
            if code not in self._insisting and not told:
                text = alarm_text(one, self._job.unit)
                self._write(f"{clock(change.elapsed_s)}  {_one_line(text)}")
        self._insisting = frozenset(new)

    def show(self, view: View) -> None:
        # A view of the mark's own moment may be from just before it.
        if self._explain_s is not None and view.now_s > self._explain_s:
            self._explain_s = None
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


def _is_told(change: StepChange) -> bool:
    return change.begins and change.allowed and change.step is not Step.CHECK


def _one_line(text: str) -> str:
    """Return the text without what would steer a terminal or look like a line of ours."""
    return printable(" ".join(text.splitlines()))


def summary_lines(summary: Summary) -> list[str]:
    """Return what the watch saw, as lines for people."""
    view = summary.view
    snapshot, unit = view.snapshot, view.job.unit
    windows = [*snapshot.windows, *([snapshot.window] if snapshot.window else [])]
    band = band_text(view.job.band, unit)
    lines = [phrase("summary.band", band=band, readings=f"{snapshot.readings}")]
    lines += [phrase("summary.in-band", window=window_text(one, unit)) for one in windows]
    if not windows:
        lines.append(phrase("summary.never"))
    if snapshot.gaps or snapshot.doubtful:
        gaps, doubtful = f"{snapshot.gaps}", f"{snapshot.doubtful}"
        lines.append(phrase("summary.losses", gaps=gaps, doubtful=doubtful))
    lines += _rest_lines(snapshot)
    if snapshot.blind and snapshot.rest is None:
        lines.append(phrase("summary.blind"))
    if snapshot.check is not None:
        lines += verdict_lines(summary.verdict, view.job.band, unit)
    if view.recording_trouble:
        lines.append(f"  {view.recording_trouble}")
    return [*lines, *_recording_lines(view)]


def _rest_lines(snapshot: Snapshot) -> list[str]:
    lines = [
        phrase("rest.summary", span=span(rest.until_s - rest.since_s), since=clock(rest.since_s))
        for rest in snapshot.rests
        if rest.until_s is not None
    ]
    if snapshot.rest is not None:
        lines.append(phrase("rest.open", since=clock(snapshot.rest.since_s)))
    return lines


def _recording_lines(view: View) -> list[str]:
    if not view.recording:
        return []
    commands = [f"plot {view.recording}"]
    if view.snapshot.check is not None:
        commands.append(f"proof {view.recording}")
    return [phrase("summary.recording", path=view.recording), *next_lines(*commands)]
