"""What happened so far, as screens list it."""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from warmwatch.core.events import Event
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.core.units import from_c
from warmwatch.outputs.base import Entry

KEPT = 20
_TENTHS_KEPT = 60
"""Decimals are shown while one of so many last readings had one: figures must stand still."""


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One line of the list of what happened; a notice has no time of its own."""

    elapsed_s: float | None
    entry: Event | Mark | Notice


@dataclass(frozen=True, slots=True)
class History:
    """What happened, frozen.

    `marked` holds the elapsed time of the last mark of each name. `tenths` says that readings have
    decimals.
    """

    latest: tuple[HistoryEntry, ...] = ()
    marked: Mapping[MarkName, float] | None = None
    tenths: bool = False


class HistoryTracker:
    """Collects entries; used by the session's thread only."""

    def __init__(self, unit: str) -> None:
        self._unit = unit
        self._latest: deque[HistoryEntry] = deque(maxlen=KEPT)
        self._marked: dict[MarkName, float] = {}
        self._since_tenths = _TENTHS_KEPT

    def take(self, entry: Entry) -> None:
        """Take one entry, in the order they happen."""
        if isinstance(entry, Event):
            self._latest.append(HistoryEntry(entry.elapsed_s, entry))
        elif isinstance(entry, Mark):
            self._latest.append(HistoryEntry(entry.elapsed_s, entry))
            self._marked[entry.name] = entry.elapsed_s
        elif isinstance(entry, Notice):
            self._latest.append(HistoryEntry(None, entry))
        elif isinstance(entry, Reading):
            self._reading(entry)

    def _reading(self, reading: Reading) -> None:
        if "fluid_c" in reading.values:
            shown = from_c(reading.values["fluid_c"], self._unit)
            self._since_tenths = 0 if round(shown, 1) % 1 else self._since_tenths + 1

    def history(self) -> History:
        """Return what a screen on another thread may keep."""
        return History(tuple(self._latest), dict(self._marked), self._since_tenths < _TENTHS_KEPT)
