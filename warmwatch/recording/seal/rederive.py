"""Derives the events of a recording anew, to hold the recorded ones against them."""

from collections import deque
from collections.abc import Mapping
from typing import Any

from warmwatch._version import __version__
from warmwatch.core.events import Event
from warmwatch.core.level.check import outcome
from warmwatch.recording.rows import HEADER, cells_item, event_cells
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.sidecar import fold_digest, sidecar_watch


class Broken(Exception):
    """Where and why a recording is not as it was written."""

    def __init__(self, reason: str, row: int | None, state: SealState = SealState.CHANGED) -> None:
        super().__init__(reason)
        self.reason, self.row, self.state = reason, row, state


class Replay:
    """Folds the items again and holds each recorded event against the one that comes out."""

    def __init__(self, sidecar: Mapping[str, Any]) -> None:
        self._watch = sidecar_watch(sidecar)
        self._expected: deque[Event] = deque()
        self._utc_s: float | None = None
        versions = sidecar.get("warmwatch:versions")
        versions = versions if isinstance(versions, Mapping) else {}
        self._same_fold = bool(fold_digest()) and versions.get("fold") == fold_digest()
        self._made_by = versions.get("warmwatch")
        self._differs = False

    @property
    def verdict(self) -> str:
        """Whether the recorded events are those that the items bring forth."""
        if not self._differs:
            return "same"
        if self._same_fold:
            return "different"
        made_by = f"a warmwatch with another core ({self._made_by}; this is {__version__})"
        return f"not all the same, recorded by {made_by}"

    def row(self, number: int, cells: Mapping[str, str]) -> None:
        try:
            item = None if cells["kind"] == "event" else cells_item(cells)
            if item is None and cells["kind"] != "event":
                raise ValueError(f"{cells['kind']!r} is no kind of row")
            if item is None:
                self._event(number, cells)
                return
            self._nothing_missing(number)
            self._expected.extend(r for r in self._watch.step(item) if isinstance(r, Event))
            self._utc_s = item.utc_s
        except (ValueError, TypeError, ArithmeticError, RecursionError) as error:
            raise Broken(f"the row cannot be read: {error}", number) from None

    def end(self, closed: Mapping[str, str]) -> None:
        self._nothing_missing(None)
        if closed["name"] and closed["name"] != self.outcome():
            self._differ("the closing row states another outcome than the readings give", None)

    def outcome(self) -> str:
        checks = self._watch.checks
        return str(outcome(checks[-1] if checks else None, self._watch.job.band))

    def _event(self, number: int, cells: Mapping[str, str]) -> None:
        event = self._expected.popleft() if self._expected else None
        wanted = None if event is None else event_cells(event, self._utc_s)
        if wanted is None or any(cells[name] != wanted.get(name, "") for name in _COMPARED):
            self._differ("the readings give no such event here", number)

    def _nothing_missing(self, number: int | None) -> None:
        if self._expected:
            event = self._expected[0]
            self._expected.clear()
            self._differ(f"the event {event.kind} that the readings give is missing", number)

    def _differ(self, reason: str, number: int | None) -> None:
        # Another core may judge otherwise: that alone is no forgery.
        self._differs = True
        if self._same_fold:
            raise Broken(reason, number)


_COMPARED = tuple(name for name in HEADER.split(",") if name != "digest")
