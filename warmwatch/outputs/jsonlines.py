"""JSON Lines on a stream, for other programs. One object a line; see docs/json.md."""

import json
from collections.abc import Callable, Iterable, Mapping

from warmwatch.core.alarm import Alarm
from warmwatch.core.band import Window
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.level.check import Check
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, Reading
from warmwatch.core.reason import Reason
from warmwatch.core.rest import Rest
from warmwatch.errors import printable
from warmwatch.outputs.base import AlarmChange, Entry, Missed, StepChange, Summary
from warmwatch.outputs.stream import Sink
from warmwatch.recording.rows import utc_text
from warmwatch.words.view import View

_READING_KEYS = frozenset({"kind", "elapsed_s", "time", "doubts"})


class JsonLines:
    """Writes each reading, mark, event and forecast, and at the end the summary."""

    def __init__(self, stream: Sink, tell: Callable[[str], None] | None = None) -> None:
        self._stream = stream
        self._tell = tell

    def take(self, entry: Entry) -> None:
        if isinstance(entry, Notice) and self._tell is not None:
            self._tell(printable(entry.text))
        line = entry_object(entry)
        if line is not None:
            self._write(line)

    def show(self, view: View) -> None:
        """Nothing: every line is written as it happens."""

    def close(self, summary: Summary) -> None:
        self._write(summary_object(summary))

    def _write(self, line: Mapping[str, object]) -> None:
        self._stream.write(json.dumps(line, allow_nan=False) + "\n")
        self._stream.flush()


def entry_object(entry: Entry) -> dict[str, object] | None:
    """Return the JSON object of an entry; None for notices, which are for people."""
    if isinstance(entry, Reading):
        return _reading_object(entry)
    if isinstance(entry, Event):
        return event_object(entry)
    if isinstance(entry, Forecast):
        return forecast_object(entry)
    if isinstance(entry, Mark):
        mark = {"kind": "mark", "elapsed_s": entry.elapsed_s, "mark": str(entry.name)}
        return {**mark, "note": entry.note}
    if isinstance(entry, AlarmChange):
        return {"kind": "alarm", "elapsed_s": entry.elapsed_s, **alarm_object(entry.alarm)}
    if isinstance(entry, StepChange):
        step = {"step": str(entry.step), "allowed": entry.allowed}
        return {"kind": "step", "elapsed_s": entry.elapsed_s, **step}
    if isinstance(entry, Missed):
        return {"kind": "missed", "lines": entry.count}
    return None


def _reading_object(reading: Reading) -> dict[str, object]:
    line: dict[str, object] = {"kind": "reading", "elapsed_s": reading.elapsed_s}
    line["time"] = utc_text(reading.utc_s) or None
    for name, value in reading.values.items():
        while name in _READING_KEYS or name in line:  # a vehicle may call a value of its own so
            name += "_"
        line[name] = value
    return line | ({"doubts": dict(reading.doubts)} if reading.doubts else {})


def event_object(event: Event) -> dict[str, object]:
    """Return the JSON object of an event."""
    line: dict[str, object] = {"kind": "event", "elapsed_s": event.elapsed_s}
    line |= {"event": str(event.kind), "fluid_c": event.fluid_c}
    if event.crossed_s is not None:
        line["crossed_s"] = event.crossed_s
    if event.kind in (EventKind.ENTERED, EventKind.FIT):
        line["fit"] = event.fit
    return line | reasons_object(event.reasons)


def reasons_object(reasons: Iterable[Reason]) -> dict[str, object]:
    """Return the codes of the reasons and the figures of those that have any."""
    codes = [reason.code for reason in reasons]
    figures = {reason.code: dict(reason.figures) for reason in reasons if reason.figures}
    members = {"reasons": codes, "figures": figures}
    return {name: value for name, value in members.items() if value}


def forecast_object(forecast: Forecast) -> dict[str, object]:
    """Return the JSON object of a forecast."""
    return {
        "kind": "forecast",
        "elapsed_s": forecast.elapsed_s,
        "edge": forecast.edge,
        "to": forecast.to,
        "q10_s": forecast.q10_s,
        "q50_s": forecast.q50_s,
        "q90_s": forecast.q90_s,
        "chance": forecast.chance,
        "level_c": forecast.level_c,
        "rate_c_per_min": forecast.rate_c_per_min,
        "basis": "" if forecast.basis is None else str(forecast.basis),
    }


def summary_object(summary: Summary) -> dict[str, object]:
    """Return the JSON object of the summary."""
    view, snapshot = summary.view, summary.view.snapshot
    open_rest = [snapshot.rest] if snapshot.rest is not None else []
    open_window = [snapshot.window] if snapshot.window is not None else []
    return {
        "kind": "summary",
        "windows": [window_object(window) for window in (*snapshot.windows, *open_window)],
        "readings": snapshot.readings,
        "doubtful": snapshot.doubtful,
        "gaps": snapshot.gaps,
        "blind": snapshot.blind,
        "alarm": alarm_object(snapshot.alarm),
        "step": str(snapshot.step),
        "rests": [rest_object(rest) for rest in (*snapshot.rests, *open_rest)],
        "outcome": str(summary.verdict.outcome),
        "sign": str(summary.verdict.sign),
        "check": None if snapshot.check is None else check_object(snapshot.check),
        "drain_windows": [window_object(window) for window in snapshot.drain_windows],
        "recording": view.recording or None,
        "recording_trouble": view.recording_trouble or None,
        "stopped_by": summary.stopped_by,
    }


def alarm_object(alarm: Alarm) -> Mapping[str, object]:
    """Return the JSON object of what insists, the most urgent first."""
    return {
        "plug": str(alarm.plug),
        "plug_out_s": alarm.plug_out_s,
        "insists": alarm.insists,
        "standing": [
            {
                "alarm": str(one.code),
                "since_s": one.since_s,
                "heard": one.heard,
                **reasons_object(one.reasons),
            }
            for one in alarm.standing
        ],
    }


def rest_object(rest: Rest) -> Mapping[str, object]:
    """Return the JSON object of a rest; `last_c` is what was read before it."""
    return {
        "since_s": rest.since_s,
        "until_s": rest.until_s,
        "last_s": rest.last_s,
        "last_c": rest.last_c,
    }


def check_object(check: Check) -> Mapping[str, object]:
    """Return the JSON object of a level check; its conditions are the worst while it lasted."""
    return {
        "out_s": check.out_s,
        "out_c": check.out_c,
        "in_s": check.in_s,
        "in_c": check.in_c,
        "set_s": check.set_s,
        "min_c": check.min_c,
        "max_c": check.max_c,
        "lost": check.lost,
        "conditions": [
            {"name": c.name, "state": str(c.state), "reason": str(c.reason), "code": c.code}
            for c in check.conditions
        ],
    }


def window_object(window: Window) -> Mapping[str, object]:
    """Return the JSON object of a window."""
    return {
        "entered_s": window.entered_s,
        "entered_crossed_s": window.entered_crossed_s,
        "left_s": window.left_s,
        "left_crossed_s": window.left_crossed_s,
        "ended_by": window.ended_by or None,
        "min_c": window.min_c,
        "max_c": window.max_c,
    }
