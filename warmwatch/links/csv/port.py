"""`csv:FILE`: replays one of our recordings, or any CSV file whose columns are named.

`csv:FILE?elapsed_s=COLUMN&fluid_c=COLUMN&unit=F`: an option that is a quantity, `elapsed_s` or
`time` names the column it is read from.
"""

import time
from collections.abc import Iterator, Mapping
from itertools import islice
from pathlib import Path

from warmwatch.core.reading import Item, Reading
from warmwatch.errors import RecordingError, UsageError
from warmwatch.links.address import Address
from warmwatch.links.base import WAIT_S, Link, LinkItem, Notice
from warmwatch.links.csv.columns import open_table
from warmwatch.links.csv.table import HEAD_ROWS, Table, usual_interval_s
from warmwatch.recording.reader import RowReader, is_recording
from warmwatch.recording.rows import cells_item
from warmwatch.recording.sidecar import read_sidecar, sidecar_job


def open_address(address: Address, pace: float | None) -> Link:
    """Return the link of a `csv:` address.

    Raises UsageError for a missing file or a wrong column, InputError for a file without rows.
    """
    path = Path(address.rest)
    if not path.exists():
        raise UsageError(f"There is no file {path}: check the name and the folder.")
    if path.is_dir():
        raise UsageError(f"{path} is a folder: name a .csv file in it.")
    if not path.is_file():
        raise UsageError(
            f"{path} can be read only once, but a CSV file is read twice: save it as a file first, "
            "or send its numbers to lines:-."
        )
    if is_recording(path):
        return Replay(RecordedItems(path), pace)
    return Replay(open_table(path, address.options), pace)


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
                item = cells_item(row.cells)
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

    def __init__(self, source: RecordedItems | Table, pace: float | None) -> None:
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
