"""Works out the events of a recording again and compares the recorded ones with them."""

import re
from collections import deque
from collections.abc import Mapping
from typing import Any

from warmwatch._version import __version__
from warmwatch.core.events import Event
from warmwatch.core.reading import Mark, Reading
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.recording.fold import fold_digest
from warmwatch.recording.rows import cells_item, event_cells, verdict_cells
from warmwatch.recording.schema import Schema
from warmwatch.recording.seal.raw_bytes import FLUID, RawBytes
from warmwatch.recording.seal.report import KeptBus, SealState, Vouched
from warmwatch.recording.sidecar import sidecar_watch
from warmwatch.recording.zone import sidecar_zone

_KEPT_BUS = re.compile(r"bus kept in ([^/\\]+): \d+ pieces(?:, \d+ lost)?, sha256=([0-9a-f]{64})")
"""The note with which a watch ends that kept the bus."""


class Broken(Exception):
    """Where and why a recording is not as it was written."""

    def __init__(self, reason: str, row: int | None, state: SealState = SealState.CHANGED) -> None:
        super().__init__(reason)
        self.reason, self.row, self.state = reason, row, state


class Replay:
    """Folds the items again and compares each recorded event with the one that comes out.

    Another version of the fold may judge otherwise, which alone is no forgery: from the first
    difference on nothing more is compared then, and `worked_out` is False.
    """

    def __init__(self, sidecar: Mapping[str, Any], schema: Schema) -> None:
        versions = sidecar.get("warmwatch:versions")
        versions = versions if isinstance(versions, Mapping) else {}
        self._same_fold = bool(fold_digest()) and versions.get("fold") == fold_digest()
        self._made_by = versions.get("warmwatch")
        self._compared = schema.columns[:-1]
        self._expected: deque[Event] = deque()
        self._utc_s: float | None = None
        self.worked_out = True
        self.bus: KeptBus | None = None
        self.raw = RawBytes(sidecar)
        link = sidecar.get("warmwatch:link")
        self.invented = isinstance(link, Mapping) and bool(link.get("invented"))
        self._zone = sidecar_zone(sidecar)
        self._watch = self._begin(sidecar)

    def _begin(self, sidecar: Mapping[str, Any]) -> Watch | None:
        try:
            return sidecar_watch(sidecar)
        except RecordingError as error:
            self._differ(str(error), 2)
            return None

    @property
    def verdict(self) -> str:
        """Whether the recorded events are those that the items bring forth."""
        if self.worked_out:
            return "same"
        return "different" if self._same_fold else "not worked out"

    @property
    def other_version(self) -> str:
        """What to say of events that were not worked out again."""
        made_by = "another core" if self._made_by == __version__ else self._made_by
        return (
            "its events were made by another version and were not worked out again "
            f"(made by {made_by}, this is {__version__})"
        )

    def row(self, number: int, cells: Mapping[str, str]) -> None:
        """Take the next row; Broken when it is not what the rows before it give."""
        try:
            self._row(number, cells)
        except (ValueError, TypeError, ArithmeticError, RecursionError) as error:
            self._differ(f"the row cannot be read: {error}", number)

    def _row(self, number: int, cells: Mapping[str, str]) -> None:
        if self._watch is None or (not self.worked_out and cells["kind"] == "event"):
            return
        if cells["kind"] == "event":
            self._event(number, cells)
            return
        item = cells_item(cells)
        if item is None:
            raise ValueError(f"{cells['kind']!r} is no kind of row")
        self._nothing_missing(number)
        if isinstance(item, Reading):
            self._hold_against_bytes(number, item)
        elif isinstance(item, Mark) and (kept := _KEPT_BUS.fullmatch(item.note)):
            self.bus = KeptBus(kept[1], kept[2])
        self._expected.extend(r for r in self._watch.step(item) if isinstance(r, Event))
        self._utc_s = item.utc_s

    def _hold_against_bytes(self, number: int, reading: Reading) -> None:
        fluid_c = reading.values.get(FLUID)
        if fluid_c is not None and (told := self.raw.differs(fluid_c, reading.raw)):
            raise Broken(f"the temperature was changed: {told}", number)

    def end(self, closed: Mapping[str, str]) -> None:
        """Take the closing row."""
        self._nothing_missing(None)
        stated = {name: closed[name] for name in ("name", "other") if closed[name]}
        if self._watch is None or not stated:
            return
        wanted = verdict_cells(self._watch.verdict)
        if any(wanted[name] != text for name, text in stated.items()):
            self._differ("the closing row states another outcome than the readings give", None)

    def vouched(self, utc_s: float | None) -> Vouched | None:
        """Return what the readings and marks show, of a recording that began at `utc_s`."""
        if self._watch is None:
            return None
        return Vouched(self._watch.job, self._watch.verdict, utc_s, self._zone)

    def outcome(self) -> str:
        """Return what the readings and marks show about the level; empty where nothing can."""
        return "" if self._watch is None else str(self._watch.verdict.outcome)

    def _event(self, number: int, cells: Mapping[str, str]) -> None:
        event = self._expected.popleft() if self._expected else None
        wanted = None if event is None else event_cells(event, self._utc_s)
        if wanted is None or any(cells[name] != wanted.get(name, "") for name in self._compared):
            self._differ("the readings give no such event here", number)

    def _nothing_missing(self, number: int | None) -> None:
        if self._expected:
            event = self._expected[0]
            self._expected.clear()
            if self.worked_out:
                self._differ(f"the event {event.kind} that the readings give is missing", number)

    def _differ(self, reason: str, number: int | None) -> None:
        self.worked_out = False
        if self._same_fold:
            raise Broken(reason, number)
