"""Replays recorded items, at their own pace or as fast as possible."""

import time
from collections.abc import Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import Protocol

from warmwatch.core.notice import Notice
from warmwatch.core.reading import Item, Reading
from warmwatch.errors import RecordingError
from warmwatch.links.base import WAIT_S, LinkItem
from warmwatch.links.csv.table import HEAD_ROWS, usual_interval_s
from warmwatch.recording.reader import RowReader
from warmwatch.recording.sidecar import read_sidecar, sidecar_job


class Recorded(Protocol):
    """Something recorded earlier, to be replayed."""

    poll_s: float | None

    def describe(self) -> Mapping[str, object]:
        """What the sidecar keeps of it."""

    def __iter__(self) -> Iterator[Item | Notice]:
        """Its items in their order."""


class RecordedItems:
    """The readings, marks and ticks of one of our recordings, in their order."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._trouble = ""
        try:
            self.poll_s = sidecar_job(read_sidecar(path)).poll_s
        except RecordingError as error:  # the readings can be replayed without it
            self._trouble = str(error)
            times = (item.elapsed_s for item in self._items() if isinstance(item, Reading))
            self.poll_s = usual_interval_s(islice(times, HEAD_ROWS))

    def describe(self) -> Mapping[str, object]:
        return {"replayed_from": self._path.name, "recording": True}

    def __iter__(self) -> Iterator[Item | Notice]:
        if self._trouble:
            yield Notice(f"{self._trouble} Replayed with the band and the limits given now.")
        yield from self._items()

    def _items(self) -> Iterator[Item | Notice]:
        rows = RowReader(self._path)
        for row in rows:
            try:
                item = row.item
            except ValueError as error:
                raise RecordingError(
                    f"{self._path.name} cannot be read at row {row.number}: {error}."
                ) from None
            if item is not None:
                yield item
        if rows.torn:
            yield Notice(f"The recording ends in the middle: {rows.torn} and was left out.")


class Replay:
    """Gives recorded items at their recorded pace, times `pace`; None as fast as possible."""

    replay = True

    def __init__(self, source: Recorded, pace: float | None) -> None:
        self._source = source
        self._pace = pace
        self._closed = False
        self._elapsed_s = 0.0

    @property
    def poll_s(self) -> float | None:
        return self._source.poll_s

    def describe(self) -> Mapping[str, object]:
        return self._source.describe()

    def elapsed_s(self) -> float:
        return self._elapsed_s

    def items(self) -> Iterator[LinkItem]:
        first = True
        for item in self._source:
            if not isinstance(item, Notice):
                if self._pace is not None and not first:
                    yield from self._wait_until(item.elapsed_s, self._pace)
                first = False
                self._elapsed_s = item.elapsed_s
            if self._closed:
                return
            yield item

    def close(self) -> None:
        self._closed = True

    def _wait_until(self, due_s: float, pace: float) -> Iterator[None]:
        """Let recorded time go by; a jump in it is waited out like any other silence."""
        from_s, start = self._elapsed_s, time.monotonic()
        while not self._closed and self._elapsed_s < due_s:
            wait_s = min(WAIT_S, (due_s - self._elapsed_s) / pace)
            time.sleep(wait_s)
            self._elapsed_s = from_s + (time.monotonic() - start) * pace
            if self._elapsed_s < due_s:
                yield None
