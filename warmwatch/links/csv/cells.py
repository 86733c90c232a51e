"""What the cells of a foreign CSV file say: numbers, times, and when they may say two things."""

import csv
import math
import re
from datetime import UTC, datetime, tzinfo

from warmwatch.recording.rows import MAX_TIME_S

_THOUSANDS = re.compile(r"\s*[+-]?[1-9]\d{0,2},\d{3}\s*", re.ASCII)
_CLOCK = re.compile(r"(?:(\d{1,4}):)?(\d{1,4}):([0-5]\d(?:[.,]\d{1,9})?)", re.ASCII)
_HALF_DAY_S = 43_200.0


def number(cell: str) -> float | None:
    """Return the finite number in a cell, with a point or a single decimal comma, else None."""
    try:
        value = float(cell)
    except ValueError:
        if cell.count(",") != 1 or "." in cell:
            return None
        return number(cell.replace(",", "."))
    return value if math.isfinite(value) and "_" not in cell else None


def may_be_thousands(cell: str) -> bool:
    """Return whether the comma in a cell may set thousands apart: `1,000`, but not `0,500`.

    >>> [may_be_thousands(cell) for cell in ("1,000", "0,500", "20,5", "20.5")]
    [True, False, False, False]
    """
    return "," in cell and _THOUSANDS.fullmatch(cell) is not None


def shows_decimal_comma(cell: str) -> bool:
    """Return whether the comma in a cell can only be a decimal mark."""
    return "," in cell and not may_be_thousands(cell) and number(cell) is not None


def clock_s(cell: str) -> float | None:
    """Return the seconds of `[h:]mm:ss(.s)`, None when it is no such time.

    >>> clock_s("1:02:03.5"), clock_s("75:00"), clock_s("1:75:00")
    (3723.5, 4500.0, None)
    """
    match = _CLOCK.fullmatch(cell.strip())
    if match is None or (match[1] and int(match[2]) > 59):
        return None
    return int(match[1] or 0) * 3600.0 + int(match[2]) * 60.0 + float(match[3].replace(",", "."))


def time_of_day_s(cell: str) -> float | None:
    """Return the seconds since midnight of `h:mm:ss(.s)`; `12:30` alone may be hours or minutes."""
    return clock_s(cell) if cell.count(":") == 2 else None


def moment_of(cell: str, zone: tzinfo | None) -> tuple[float | None, float | None]:
    """Return an ISO 8601 date and time as seconds since some moment, and since 1970 in UTC.

    The latter is None where neither the cell nor `zone` says which zone it is in.
    """
    try:
        moment = datetime.fromisoformat(cell.strip())
    except ValueError:
        return None, None
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    if moment.tzinfo is None:
        return moment.replace(tzinfo=UTC).timestamp(), None
    return moment.timestamp(), moment.timestamp()


class RowClock:
    """Turns the time cells of one pass through a file into elapsed seconds, and UTC if they say it.

    `kind` is "elapsed_s" (seconds, or a running time such as 12:30) or "time" (ISO 8601, or a time
    of day, which goes on past midnight). `zone` is that of moments without one, None if not known.
    """

    def __init__(self, kind: str, zone: tzinfo | None = None) -> None:
        self._kind = kind
        self._zone = zone
        self._origin_s: float | None = None
        self._day_s = 0.0
        self._last_s = 0.0

    def read(self, cell: str) -> tuple[float | None, float | None]:
        """Return (elapsed seconds, UTC seconds); None for what cannot be read."""
        if self._kind == "elapsed_s":
            elapsed_s, utc_s = number(cell), None
            elapsed_s = clock_s(cell) if elapsed_s is None else elapsed_s
        else:
            moment_s, utc_s = moment_of(cell, self._zone)
            at_s = self._past_midnight(cell) if moment_s is None else moment_s
            elapsed_s = self._since_first(at_s)
        if elapsed_s is None or abs(elapsed_s) > MAX_TIME_S:
            return None, None
        return elapsed_s, utc_s

    def _past_midnight(self, cell: str) -> float | None:
        seconds = time_of_day_s(cell)
        if seconds is None:
            return None
        if seconds < self._last_s - _HALF_DAY_S:
            self._day_s += 2 * _HALF_DAY_S
        self._last_s = seconds
        return self._day_s + seconds

    def _since_first(self, seconds: float | None) -> float | None:
        if seconds is None:
            return None
        if self._origin_s is None:
            self._origin_s = seconds
        return round(seconds - self._origin_s, 6)


def split_row(line: str, separator: str) -> list[str] | None:
    """Return the cells of one line; None when a quote in it does not end on it.

    A row is a line: were a cell allowed to hold line ends, one quote too many would swallow
    hundreds of readings.
    """
    line = line.rstrip("\r\n")
    if '"' not in line:
        return line.split(separator)
    row = next(csv.reader([line + "\n"], delimiter=separator))
    return None if row[-1].endswith("\n") else row
