"""The columns of a recording, and the formats that are read.

A recording says itself what its columns are: in its first line and in its sidecar, which must
agree. So a recording made before a quantity was known, or after, reads like any other. The fixed
columns stand around those of the quantities:

    time        UTC, ISO 8601, empty where it is not known
    elapsed_s   seconds on a clock that never runs back
    kind        reading, mark, tick, event, opened, closed
    name        the mark or the event; of the closing row, what it shows about the level
    fluid_c ... one column for each quantity
    other       further values by name, a JSON object
    crossed_s   for window events: the first reading past the edge
    fit         for events in the band: whether the level may be checked now, yes or no
    text        the note of a mark, the reasons of an event or of a gap
    doubts      what the link doubts and why, a JSON object
    raw         the bytes that the fluid temperature was read from, as hex
    digest      SHA-256 over the digest of the row before and this row's text up to here

Format 1 (version 0.1) has no `fit`, and its reasons are sentences.
"""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from operator import itemgetter
from typing import Any

from warmwatch.core.units import QUANTITIES

FORMAT = "warmwatch recording 2"
FORMATS = ("warmwatch recording 1", FORMAT)
MEANINGS = {
    "time": ("datetime", "wall time in UTC"),
    "elapsed_s": ("number", "seconds on a clock that never runs back"),
    "kind": ("string", "reading, mark, tick, event, opened or closed"),
    "name": ("string", "the mark or the event"),
    "other": ("string", "further values by name, a JSON object"),
    "crossed_s": ("number", "for window events: the first reading past the edge"),
    "fit": ("string", "for events in the band: whether the level may be checked now"),
    "text": ("string", "note or reasons"),
    "doubts": ("string", "what the link doubts and why, a JSON object"),
    "raw": ("string", "the bytes that the fluid temperature was read from, as hex"),
    "digest": ("string", "SHA-256 over the digest of the row before and this row"),
}
ITEM_COLUMNS = ("time", "elapsed_s", "kind", "name", "other", "text", "doubts", "raw")
"""What an input of the fold is made of, beside the quantities."""
_LEAD = ("time", "elapsed_s", "kind", "name")
KIND = _LEAD.index("kind")
_TAIL = ("other", "crossed_s", "fit", "text", "doubts", "raw", "digest")
_NEEDED = frozenset(MEANINGS) - {"fit"}
MAX_HEADER = 1 << 12


@dataclass(frozen=True)
class Schema:
    """The columns of one recording, in their order."""

    columns: tuple[str, ...]

    @cached_property
    def header(self) -> str:
        """The first line of the file."""
        return ",".join(self.columns)

    @cached_property
    def quantities(self) -> tuple[str, ...]:
        """The columns that hold numbers read from the link."""
        return tuple(name for name in self.columns if name not in MEANINGS)

    @cached_property
    def numbers(self) -> tuple[str, ...]:
        """All columns that hold numbers."""
        return ("elapsed_s", "crossed_s", *self.quantities)

    @cached_property
    def pick_quantities(self) -> Callable[[Sequence[str]], tuple[str, ...]]:
        """Picks the cells of `quantities` out of a row's cells."""
        return self._picker(self.quantities)

    @cached_property
    def pick_item(self) -> Callable[[Sequence[str]], tuple[str, ...]]:
        """Picks the cells of ITEM_COLUMNS out of a row's cells."""
        return self._picker(ITEM_COLUMNS)

    def _picker(self, names: Sequence[str]) -> Callable[[Sequence[str]], tuple[str, ...]]:
        if len(names) < 2:  # itemgetter gives no tuple then
            places = [self.columns.index(name) for name in names]
            return lambda cells: tuple(cells[place] for place in places)
        return itemgetter(*map(self.columns.index, names))

    def cells(self, line: str) -> list[str]:
        """Return the cells of one line in their order; ValueError when it is no such line."""
        # Nearly every row is plain, and taking it apart at its commas is quicker.
        row = _quoted(line) if '"' in line or "\r" in line else line.split(",")
        if len(row) != len(self.columns):
            raise ValueError(f"{len(row)} cells where {len(self.columns)} are needed")
        return row

    def split(self, line: str) -> dict[str, str]:
        """Return the cells of one line by column; ValueError when it is no such line."""
        return dict(zip(self.columns, self.cells(line), strict=True))

    def body(self, cells: Mapping[str, str]) -> str:
        """Return a row's text up to its digest, without the comma before that."""
        return _line([cells.get(name, "") for name in self.columns[:-1]])


def _quoted(line: str) -> list[str]:
    try:
        return next(csv.reader([line], strict=True), [])
    except csv.Error as error:
        raise ValueError(str(error)) from None


def current_schema() -> Schema:
    """Return the columns that are written now."""
    return Schema((*_LEAD, *QUANTITIES, *_TAIL))


@lru_cache(maxsize=16)
def schema_of(header: str) -> Schema | None:
    """Return the columns that a first line names; None when it is not that of a recording."""
    columns = header.split(",")
    good = (
        columns[: len(_LEAD)] == [*_LEAD]
        and columns[-1] == "digest"
        and set(columns) >= _NEEDED
        and len(set(columns)) == len(columns)
        and all(name.isidentifier() for name in columns)
    )
    return Schema(tuple(columns)) if good else None


def described(schema: Schema) -> list[dict[str, str]]:
    """Return the columns as CSV on the Web describes them."""
    return [_described(name) for name in schema.columns]


def _described(name: str) -> dict[str, str]:
    if name in MEANINGS:
        datatype, meaning = MEANINGS[name]
    else:
        quantity = QUANTITIES[name]
        datatype, meaning = "number", f"{quantity.meaning}, {quantity.unit}"
    return {"name": name, "titles": name, "datatype": datatype, "dc:description": meaning}


def described_columns(sidecar: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the columns that a sidecar describes; ValueError when it does not."""
    try:
        return tuple(str(column["name"]) for column in sidecar["tableSchema"]["columns"])
    except (KeyError, TypeError):
        raise ValueError("it does not describe the columns") from None


def _line(row: Sequence[str]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow(row)
    return out.getvalue()
