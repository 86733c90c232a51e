"""Readings from a CSV file of any origin: its columns are named, the rest is found out.

Separator `,` `;` or tab, decimal point or comma, UTF-8 (with or without a byte-order mark) or
UTF-16, any line end. A cell that holds no number is a doubtful value, never a dropped row.
"""

import csv
import math
import statistics
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, datetime
from itertools import islice, pairwise
from pathlib import Path
from typing import TextIO

from warmwatch.core.reading import Reading
from warmwatch.core.units import QUANTITIES, to_c
from warmwatch.errors import InputError, UsageError
from warmwatch.links.base import Notice

TIMES = ("elapsed_s", "time")
HEAD_ROWS = 50


class Table:
    """The rows of a foreign CSV file as readings, in bounded memory."""

    def __init__(
        self, path: Path, encoding: str, separator: str, columns: Mapping[str, int], unit: str
    ) -> None:
        self._path = path
        self._encoding = encoding
        self._separator = separator
        self._unit = unit
        self._columns = {name: at for name, at in columns.items() if name not in TIMES}
        self._clock, self._clock_at = next((n, at) for n, at in columns.items() if n in TIMES)
        self._origin_s: float | None = None
        self._width = 0
        self.poll_s = self._usual_interval_s()

    def describe(self) -> Mapping[str, object]:
        return {
            "replayed_from": self._path.name,
            "columns": {**self._columns, self._clock: self._clock_at},
            "unit": self._unit,
            "separator": self._separator,
            "encoding": self._encoding,
        }

    def __iter__(self) -> Iterator[Reading | Notice]:
        timeless = wide = 0
        with _open(self._path, self._encoding) as file:
            for row in islice(self._rows(file), 1, None):
                if not row:
                    continue
                if self._is_wide(row):
                    wide += 1
                    continue
                elapsed_s, utc_s = self._time(row)
                if elapsed_s is None:
                    timeless += 1
                    continue
                yield self._reading(row, elapsed_s, utc_s)
        if wide:
            rows = "1 row" if wide == 1 else f"{wide} rows"
            yield Notice(
                f"{rows} of {self._path.name} had more cells than the header and were left out: "
                "a decimal comma in a file separated by commas needs quotes."
            )
        if timeless:
            rows = "1 row" if timeless == 1 else f"{timeless} rows"
            yield Notice(f"{rows} of {self._path.name} had no readable time and were left out.")

    def check(self) -> None:
        """Raise InputError when the file has no rows, or no number where the fluid should be."""
        with _open(self._path, self._encoding) as file:
            header, *rows = islice(self._rows(file), HEAD_ROWS)
        self._width = len(header)
        if rows and all(self._is_wide(row) for row in rows):
            raise InputError(
                f"Every row of {self._path.name} has more cells than its header: is a decimal "
                "comma also the separator? Save it with semicolons or decimal points."
            )
        if not any(rows):
            raise InputError(f"{self._path.name} has a header but no rows: nothing to replay.")
        for name, at in (("fluid_c", self._columns["fluid_c"]), (self._clock, self._clock_at)):
            self._check_cells(name, [row[at] for row in rows if len(row) > at])

    def _is_wide(self, row: list[str]) -> bool:
        """Return whether there is something right of the header; empty cells there are harmless."""
        return any(cell.strip() for cell in row[self._width :])

    def _check_cells(self, name: str, cells: list[str]) -> None:
        read = _moment if name == "time" else number
        filled = [cell for cell in cells if cell.strip()]
        if filled and all(read(cell) is None for cell in filled):
            raise InputError(
                f"The column for {name} in {self._path.name} holds {filled[0][:30]!r}, which is no "
                f"{'time' if name == 'time' else 'number'}: name another with --column {name}=NAME."
            )

    def _rows(self, file: TextIO) -> Iterator[list[str]]:
        try:
            yield from csv.reader(file, delimiter=self._separator)
        except csv.Error as error:
            raise InputError(
                f"{self._path.name} is no CSV file as far as it reads: {error}."
            ) from None

    def _usual_interval_s(self) -> float | None:
        with _open(self._path, self._encoding) as file:
            rows = islice(self._rows(file), 1, HEAD_ROWS)
            times = [self._time(row)[0] for row in rows if row]
        return usual_interval_s(elapsed_s for elapsed_s in times if elapsed_s is not None)

    def _time(self, row: list[str]) -> tuple[float | None, float | None]:
        cell = row[self._clock_at] if len(row) > self._clock_at else ""
        if self._clock == "elapsed_s":
            elapsed_s = number(cell)
            return (elapsed_s, None) if elapsed_s is not None else (None, None)
        utc_s = _moment(cell)
        if utc_s is None:
            return None, None
        if self._origin_s is None:
            self._origin_s = utc_s
        return round(utc_s - self._origin_s, 6), utc_s

    def _reading(self, row: list[str], elapsed_s: float, utc_s: float | None) -> Reading:
        values, doubts = {}, {}
        for name, at in self._columns.items():
            cell = row[at] if at < len(row) else ""
            if not cell or cell.isspace():
                continue
            value = number(cell)
            if value is None:
                doubts[name] = f"{cell.strip()[:30]!r} is not a number"
            else:
                values[name] = self._in_c(name, value)
        return Reading(elapsed_s, values, doubts, utc_s=utc_s)

    def _in_c(self, name: str, value: float) -> float:
        if self._unit == "F" and name.endswith("_c"):
            return round(to_c(value, "F"), 6)
        return value


def open_table(path: Path, options: Mapping[str, str]) -> Table:
    """Return the table of a foreign CSV file; `options` maps quantities to column names.

    Raises UsageError, listing the columns found, when columns are not or wrongly named, and
    InputError when the file is empty or holds no numbers there.
    """
    encoding = _encoding(path)
    header, separator = _header(path, encoding)
    columns = _choose_columns(path, header, options)
    table = Table(path, encoding, separator, columns, options.get("unit", "C"))
    table.check()
    return table


def usual_interval_s(times: Iterable[float]) -> float | None:
    """Return the median step forward between times, None without one."""
    steps = [later - earlier for earlier, later in pairwise(times) if later > earlier]
    return statistics.median(steps) if steps else None


def number(cell: str) -> float | None:
    """Return the finite number in a cell, with a point or a single decimal comma, else None."""
    try:
        value = float(cell)
    except ValueError:
        if cell.count(",") != 1 or "." in cell:
            return None
        return number(cell.replace(",", "."))
    return value if math.isfinite(value) and "_" not in cell else None


def _moment(cell: str) -> float | None:
    try:
        moment = datetime.fromisoformat(cell.strip())
    except ValueError:
        return None
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def _encoding(path: Path) -> str:
    with path.open("rb") as file:
        start = file.read(2)
    return "utf-16" if start in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"


def _open(path: Path, encoding: str) -> TextIO:
    return path.open(encoding=encoding, errors="replace", newline="")


def _header(path: Path, encoding: str) -> tuple[list[str], str]:
    with _open(path, encoding) as file:
        line = file.readline(1 << 16)
    if not line.strip():
        raise InputError(f"{path.name} is empty: nothing to replay.")
    separator = max(";\t,", key=line.count)
    return [name.strip() for name in next(csv.reader([line], delimiter=separator))], separator


def _choose_columns(path: Path, header: list[str], options: Mapping[str, str]) -> dict[str, int]:
    if options.get("unit", "C") not in ("C", "F"):
        raise UsageError(f"unit={options['unit']} is neither C nor F.")
    asked = {name: column for name, column in options.items() if name != "unit"}
    for name in asked:
        if name not in QUANTITIES and name not in TIMES:
            known = ", ".join((*TIMES, *QUANTITIES))
            raise UsageError(f"{name!r} is no quantity of a reading; known are {known}.")
    own = {name: name for name in (*TIMES, *QUANTITIES) if name in header}
    chosen = {**own, **asked}
    if not chosen.keys() & set(TIMES) and "time_s" in header:
        chosen["elapsed_s"] = "time_s"  # its name says its unit
    if "elapsed_s" in asked or ("elapsed_s" in chosen and "time" not in asked):
        chosen.pop("time", None)
    else:
        chosen.pop("elapsed_s", None)
    _refuse_gaps(path, header, chosen)
    return {name: header.index(column) for name, column in chosen.items()}


def _refuse_gaps(path: Path, header: list[str], chosen: Mapping[str, str]) -> None:
    found = ", ".join(header[:30])
    for name, column in chosen.items():
        if header.count(column) > 1:
            raise UsageError(
                f"{path.name} has {header.count(column)} columns named {column!r}: "
                f"rename one, so that it is clear which is {name}."
            )
        if column not in header:
            raise UsageError(
                f"{path.name} has no column {column!r} for {name}; its columns are {found}."
            )
    missing = [] if chosen.keys() & set(TIMES) else ["elapsed_s"]
    missing += [] if "fluid_c" in chosen else ["fluid_c"]
    if missing:
        options = " ".join(f"--column {name}=NAME" for name in missing)
        raise UsageError(f"{path.name} has the columns {found}: say which is which with {options}.")
