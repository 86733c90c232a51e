"""The recording's rows: one line of RFC 4180 CSV for each reading, mark, tick and event.

The columns stand in `schema`. Numbers are written with `repr`, so that they read back the same.
Free text never holds a line end and never begins like a spreadsheet formula: see `guard` and
`unguard`.
"""

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from itertools import compress
from typing import Any

from warmwatch.core.events import Event
from warmwatch.core.level.check import Outcome
from warmwatch.core.level.verdict import LevelVerdict, verdict_from_mapping, verdict_to_mapping
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.units import QUANTITIES
from warmwatch.recording.bounds import MAX_MEMBERS, cut
from warmwatch.recording.schema import Schema, current_schema

HEADER = current_schema().header
"""The first line of what is written now; an older recording may have another."""
MAX_TIME_S = 1e10
"""Some 300 years: what lies beyond is no time in seconds."""


def utc_text(utc_s: float | None) -> str:
    """Return seconds since 1970 as `2026-01-31T12:00:00.000Z`, empty for None."""
    if utc_s is None:
        return ""
    moment = datetime.fromtimestamp(utc_s, tz=UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def utc_seconds(text: str) -> float | None:
    """Return what `utc_text` was given, to the millisecond; ValueError when it is no time."""
    if not text:
        return None
    return datetime.fromisoformat(text).timestamp()


def guard(text: str) -> str:
    """Make free text safe to stand in a cell: one line, and no spreadsheet formula."""
    text = text.encode("utf-8", "replace").decode("utf-8")  # a lone surrogate is no text
    for plain, escaped in _ESCAPES:
        text = text.replace(plain, escaped)
    return "'" + text if text[:1] in ("=", "+", "-", "@", "'", "\t") else text


def unguard(cell: str) -> str:
    """Return the text that `guard` was given."""
    cell = cell[1:] if cell[:1] == "'" else cell
    if "\\" not in cell:
        return cell
    parts = cell.split("\\\\")
    for plain, escaped in _ESCAPES[1:]:
        parts = [part.replace(escaped, plain) for part in parts]
    return "\\".join(parts)


# The backslash stands first: it must be escaped before it escapes others.
_ESCAPES = (("\\", "\\\\"), ("\n", "\\n"), ("\r", "\\r"), ("\0", "\\0"))


def item_cells(item: Item) -> dict[str, str]:
    """Return the cells of an input of the fold."""
    cells = {"time": utc_text(item.utc_s), "elapsed_s": repr(item.elapsed_s)}
    if isinstance(item, Reading):
        return cells | _reading_cells(item)
    if isinstance(item, Mark):
        return cells | {"kind": "mark", "name": str(item.name), "text": guard(item.note)}
    return cells | {"kind": "tick", "text": guard(item.gap)}


def _reading_cells(reading: Reading) -> dict[str, str]:
    cells = {"kind": "reading", "raw": guard(reading.raw)}
    others = {}
    for name, value in reading.values.items():
        if name in QUANTITIES:
            cells[name] = repr(value)
        else:
            others[name] = value
    cells["other"] = _object(others)
    cells["doubts"] = _object(reading.doubts)
    return cells


def _object(mapping: Mapping[str, object]) -> str:
    return guard(json.dumps(mapping, ensure_ascii=False)) if mapping else ""


_FIT = {True: "yes", False: "no", None: ""}


def event_cells(event: Event, utc_s: float | None) -> dict[str, str]:
    """Return the cells of an event; `utc_s` is the wall time of the item that brought it."""
    return {
        "time": utc_text(utc_s),
        "elapsed_s": repr(event.elapsed_s),
        "kind": "event",
        "name": str(event.kind),
        "fluid_c": "" if event.fluid_c is None else repr(event.fluid_c),
        "crossed_s": "" if event.crossed_s is None else repr(event.crossed_s),
        "fit": _FIT[event.fit],
        "text": guard(cut(event.text, 2 * MAX_MEMBERS)),
    }


def verdict_cells(verdict: LevelVerdict) -> dict[str, str]:
    """Return the cells of the closing row that say what the recording shows about the level."""
    return {"name": str(verdict.outcome), "other": _object(verdict_to_mapping(verdict))}


def cells_verdict(cells: Mapping[str, str]) -> LevelVerdict | None:
    """Return the verdict of a closing row, None where it holds none; ValueError when it is none."""
    if not cells["name"]:
        return None
    other = dict(_members(cells["other"])) if cells["other"] else {}
    return verdict_from_mapping(Outcome(cells["name"]), other)


def cells_item(cells: Mapping[str, str]) -> Item | None:
    """Return the input of the fold that a row's cells by column hold; see `row_item`."""
    return row_item(_schema_of_columns(tuple(cells)), [*cells.values()])


_schema_of_columns = lru_cache(maxsize=16)(Schema)


def row_item(schema: Schema, cells: Sequence[str]) -> Item | None:
    """Return the input of the fold that a row holds, None for events and the like.

    Raises ValueError when a cell cannot be read.
    """
    time, elapsed, kind, name, other, text, doubts, raw = schema.pick_item(cells)
    if kind not in ("reading", "mark", "tick"):
        return None
    elapsed_s, utc_s = float(elapsed), utc_seconds(time)
    if not abs(elapsed_s) <= MAX_TIME_S:  # written so that it holds for NaN, too
        raise ValueError(f"{elapsed_s!r} is no time in seconds")
    if kind == "mark":
        return Mark(elapsed_s, MarkName(name), unguard(text), utc_s)
    if kind == "tick":
        return Tick(elapsed_s, unguard(text), utc_s)
    # A day has a million of these: the loop over the columns is left to the interpreter's own.
    numbers = schema.pick_quantities(cells)
    names, floats = compress(schema.quantities, numbers), map(float, filter(None, numbers))
    values = dict(zip(names, floats, strict=False))
    if other:
        values |= {name: float(value) for name, value in _members(other)}
    why = {name: str(why) for name, why in _members(doubts)} if doubts else {}
    return Reading(elapsed_s, values, why, unguard(raw) if raw else "", utc_s)


def _members(cell: str) -> Iterable[tuple[str, Any]]:
    members = json.loads(unguard(cell))
    if not isinstance(members, dict):
        raise ValueError(f"{cell!r} is no JSON object")
    return members.items()


class Chain:
    """The running digest: each row's digest covers the row and the digest before it."""

    def __init__(self, schema: Schema | None = None) -> None:
        self.schema = schema or current_schema()
        self.digest = _sha256(self.schema.header)

    def seal(self, cells: Mapping[str, str]) -> str:
        """Return the row's line, without its line end, closed by its digest."""
        return self.close(self.schema.body(cells))

    def close(self, body: str) -> str:
        """Return the line of a row whose text up to its digest is `body`."""
        self.digest = _sha256(self.digest + body)
        return f"{body},{self.digest}"

    def check(self, line: str) -> bool:
        """Take the next line; return whether its digest is the one it must have."""
        body, _, digest = line.rpartition(",")
        self.digest = _sha256(self.digest + body)
        return digest == self.digest


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
