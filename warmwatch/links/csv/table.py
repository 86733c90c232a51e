"""Readings from a CSV file of any origin: its columns are named, the rest is found out.

A row is a line. A cell that holds no number is a doubtful value, never a dropped row; a row that
cannot be placed in time or into its columns is left out, and counted.
"""

import statistics
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from datetime import tzinfo
from itertools import islice, pairwise

from warmwatch.core.notice import Notice
from warmwatch.core.reading import Reading
from warmwatch.core.reason import Reason, reasons_text
from warmwatch.core.units import implausible, to_c
from warmwatch.errors import InputError, printable
from warmwatch.links.csv.anchor import Anchor
from warmwatch.links.csv.cells import (
    RowClock,
    may_be_thousands,
    number,
    shows_decimal_comma,
)
from warmwatch.links.csv.lines import TableLines

TIMES = ("elapsed_s", "time")
HEAD_ROWS = 50
MILLISECONDS_FROM_S = 100.0
"""Rows so far apart may be milliseconds that were taken for seconds."""
HOT_C = 130.0
"""Fluid so hot may be degF that was taken for degC (266 degF)."""
HOT_ROWS = 3
SCANNED_ROWS = 200_000


@dataclass(slots=True)
class _LeftOut:
    """How many rows of one pass could not be used; the notices say it."""

    wide: int = 0
    timeless: int = 0
    open_quote: int = 0
    stray: int = 0

    def notices(self, name: str) -> Iterator[Notice]:
        why = {
            "wide": "had more cells than the header and {were} left out: "
            "a decimal comma in a file separated by commas needs quotes.",
            "timeless": "had no readable time and {were} left out.",
            "open_quote": "had a quote that does not end on its line and {were} left out.",
            "stray": "had a time far from the rows around and {were} left out.",
        }
        for field in fields(self):
            count = getattr(self, field.name)
            if count:
                rows = "1 row" if count == 1 else f"{count} rows"
                were = "was" if count == 1 else "were"
                yield Notice(f"{rows} of {name} {why[field.name].format(were=were)}")


class Table:
    """The rows of a foreign CSV file as readings, in bounded memory.

    `unit` is "C" or "F", or empty where nobody said it: then degC is taken, and asked about where
    the file looks otherwise. `zone` is that of times without one, None where nobody said it: then
    no wall time is recorded.
    """

    def __init__(
        self,
        lines: TableLines,
        columns: Mapping[str, int],
        unit: str,
        zone: tzinfo | None = None,
    ) -> None:
        self._name = printable(lines.path.name)
        self._lines = lines
        self._unit = unit
        self._zone = zone
        self._columns = {name: at for name, at in columns.items() if name not in TIMES}
        self._clock, self._clock_at = next((n, at) for n, at in columns.items() if n in TIMES)
        head = list(islice(lines.rows(), HEAD_ROWS))
        self._comma_is_decimal = lines.separator == ";" or any(
            shows_decimal_comma(cell) for row in head if row for cell in self._used(row)
        )
        self._check(head)
        # Only bare numbers may be milliseconds; 0:01:30 is not.
        self._counted = self._clock == "elapsed_s" and not any(
            ":" in cell for row in head if row for cell in row[self._clock_at : self._clock_at + 1]
        )
        clock = RowClock(self._clock, self._zone)
        times = [self._time(clock, row)[0] for row in head if row]
        self.poll_s = usual_interval_s(elapsed_s for elapsed_s in times if elapsed_s is not None)

    def describe(self) -> Mapping[str, object]:
        return {
            "replayed_from": self._lines.path.name,
            "columns": {**self._columns, self._clock: self._clock_at},
            "unit": self._unit or "C",
            "separator": self._lines.separator,
            "encoding": self._lines.encoding,
            "zone": None if self._zone is None else str(self._zone),
        }

    def __iter__(self) -> Iterator[Reading | Notice]:
        yield from self._questions()
        left_out, clock = _LeftOut(), RowClock(self._clock, self._zone)
        anchor = Anchor(self._name, self.poll_s)
        for row in self._lines.rows():
            if row is None:
                left_out.open_quote += 1
            elif self._is_wide(row):
                left_out.wide += 1
            else:
                elapsed_s, utc_s = self._time(clock, row)
                if elapsed_s is None:
                    left_out.timeless += 1
                else:
                    yield from anchor.take(self._reading(row, elapsed_s, utc_s))
        anchor.end()
        left_out.stray = anchor.strays
        yield from left_out.notices(self._name)

    def _questions(self) -> Iterator[Notice]:
        """Ask, before anything is signalled, about what looks like another unit."""
        interval_s = self.poll_s or 0.0
        if self._counted and interval_s >= MILLISECONDS_FROM_S:
            yield Notice(
                f"The rows of {self._name} are {interval_s:g} s apart: is the time column in "
                "milliseconds? It is read as seconds."
            )
        hot_c = None if self._unit else self._hottest_c()
        if hot_c is not None:
            yield Notice(
                f"Temperatures in {self._name} go up to {hot_c:.0f} if they are in °C: are they "
                "in °F? Then end this and add --unit F."
            )

    def _hottest_c(self) -> float | None:
        """Return the highest believable temperature if there are some too hot for degC."""
        at = [(name, at) for name, at in self._columns.items() if name.endswith("_c")]
        hot = [
            value
            for row in islice(self._lines.rows(), SCANNED_ROWS)
            for name, column in at
            if row is not None and column < len(row)
            if (value := number(row[column])) is not None
            if value > HOT_C and not implausible(name, value)
        ]
        return max(hot) if len(hot) >= HOT_ROWS else None

    def _check(self, head: list[list[str] | None]) -> None:
        """Raise InputError when there are no rows, or no number where the fluid should be."""
        if not head:
            raise InputError(f"{self._name} has a header but no rows: nothing to replay.")
        rows = [row for row in head if row is not None]
        if not rows:
            raise InputError(
                f"No row of {self._name} ends its quotes on its own line: save it without quotes."
            )
        if all(self._is_wide(row) for row in rows):
            raise InputError(
                f"Every row of {self._name} has more cells than its header: is a decimal "
                "comma also the separator? Save it with semicolons or decimal points."
            )
        self._check_times(rows)
        at = self._columns["fluid_c"]
        self._check_numbers([row[at] for row in rows if len(row) > at])

    def _check_times(self, rows: list[list[str]]) -> None:
        at, clock = self._clock_at, RowClock(self._clock, self._zone)
        filled = [row for row in rows if at < len(row) and row[at].strip()]
        if not filled or any(self._time(clock, row)[0] is not None for row in filled):
            return
        cell = filled[0][at]
        shown = f"The column for {self._clock} in {self._name} holds {cell[:30]!r}, which "
        if number(cell) is None:
            what = "number" if self._clock == "elapsed_s" else "time"
            name = f"--column {self._clock}=NAME"
            raise InputError(f"{shown}is not a {what}: name another with {name}.")
        if self._clock == "time":
            column = self._lines.header[at]
            raise InputError(f"{shown}is a number: for seconds add --column elapsed_s={column}.")
        why = _SAID.get(self._why_no_number(cell), "is too large for seconds (milliseconds?)")
        raise InputError(f"{shown}{why}: save it in seconds, with decimal points.")

    def _check_numbers(self, cells: list[str]) -> None:
        filled = [cell for cell in cells if cell.strip()]
        if not filled or any(not self._why_no_number(cell) for cell in filled):
            return
        what = _SAID[self._why_no_number(filled[0])]
        raise InputError(
            f"The column for fluid_c in {self._name} holds {filled[0][:30]!r}, which {what}: "
            "name another with --column fluid_c=NAME, or save it with decimal points."
        )

    def _used(self, row: list[str]) -> Iterator[str]:
        return (row[at] for at in (*self._columns.values(), self._clock_at) if at < len(row))

    def _is_wide(self, row: list[str]) -> bool:
        """Return whether there is something right of the header; empty cells there are harmless."""
        return any(cell.strip() for cell in row[len(self._lines.header) :])

    def _time(self, clock: RowClock, row: list[str]) -> tuple[float | None, float | None]:
        cell = row[self._clock_at] if len(row) > self._clock_at else ""
        if not self._comma_is_decimal and may_be_thousands(cell):
            return None, None
        return clock.read(cell)

    def _reading(self, row: list[str], elapsed_s: float, utc_s: float | None) -> Reading:
        values, doubts = {}, {}
        for name, at in self._columns.items():
            cell = row[at] if at < len(row) else ""
            if not cell or cell.isspace():
                continue
            value, why = number(cell), self._why_no_number(cell)
            if value is None or why:
                doubts[name] = reasons_text([Reason(why), Reason(repr(cell.strip()[:30]))])
            else:
                values[name] = self._in_c(name, value)
        return Reading(elapsed_s, values, doubts, utc_s=utc_s)

    def _why_no_number(self, cell: str) -> str:
        """Return the code of why a cell is no number that can be used; empty for one that is."""
        if number(cell) is None:
            return "not-a-number"
        if not self._comma_is_decimal and may_be_thousands(cell):
            return "thousands-or-decimals"
        return ""

    def _in_c(self, name: str, value: float) -> float:
        if self._unit == "F" and name.endswith("_c"):
            return round(to_c(value, "F"), 6)
        return value


_SAID = {
    "not-a-number": "is not a number",
    "thousands-or-decimals": "may have a decimal comma or a thousands mark",
}


def usual_interval_s(times: Iterable[float]) -> float | None:
    """Return the median step forward between times, None without one."""
    steps = [later - earlier for earlier, later in pairwise(times) if later > earlier]
    return statistics.median(steps) if steps else None
