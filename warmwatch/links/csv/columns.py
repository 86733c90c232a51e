"""Opens a foreign CSV file: says which of its columns is which quantity, or what to name."""

import re
from collections.abc import Mapping
from datetime import UTC, timedelta, timezone, tzinfo
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from warmwatch.core.units import QUANTITIES
from warmwatch.errors import UsageError
from warmwatch.links.csv.lines import find_lines
from warmwatch.links.csv.table import TIMES, Table

_SAYS_F = re.compile(r".*(?:[\s_(\[/-]°?f|°\s*f|deg[\s_.]?f|fahrenheit)[)\]]?", re.IGNORECASE)


def open_table(path: Path, options: Mapping[str, str]) -> Table:
    """Return the table of a foreign CSV file; `options` maps quantities to column names.

    Raises UsageError, listing the columns found, when columns are not or wrongly named, and
    InputError when the file is empty or holds no numbers there.
    """
    unit = options.get("unit", "")
    if unit not in ("C", "F", ""):
        raise UsageError(f"unit={unit} is neither C nor F.")
    lines = find_lines(path)
    columns = _choose_columns(path, lines.header, options)
    if not unit:
        _refuse_fahrenheit(path, columns)
    places = {name: lines.header.index(column) for name, column in columns.items()}
    return Table(lines, places, unit, zone_of(options.get("zone", "")))


def zone_of(name: str) -> tzinfo | None:
    """Return the time zone of a name as `Europe/Lisbon`, `+01:00` or `UTC`; None for an empty one.

    >>> zone_of("+01:00"), zone_of("UTC")
    (datetime.timezone(datetime.timedelta(seconds=3600)), datetime.timezone.utc)
    """
    if not name or name == "UTC":
        return UTC if name else None
    offset = re.fullmatch(r"([ +-])(\d{2}):?(\d{2})", name)  # an option's + may come as a space
    if offset:
        ahead = timedelta(hours=int(offset[2]), minutes=int(offset[3]))
        return timezone(-ahead if offset[1] == "-" else ahead)
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise UsageError(
            f"The time zone {name!r} is not known here: write an offset from UTC such as +01:00."
        ) from None


def _choose_columns(
    path: Path, header: tuple[str, ...], options: Mapping[str, str]
) -> dict[str, str]:
    asked = {name: column for name, column in options.items() if name not in ("unit", "zone")}
    for name in asked:
        if name not in QUANTITIES and name not in TIMES:
            known = ", ".join((*TIMES, *QUANTITIES))
            raise UsageError(f"{name!r} is not a quantity of a reading; known are {known}.")
    own = {name: name for name in (*TIMES, *QUANTITIES) if name in header}
    chosen = {**own, **asked}
    if not chosen.keys() & set(TIMES) and "time_s" in header:
        chosen["elapsed_s"] = "time_s"  # its name says its unit
    if "elapsed_s" in asked or ("elapsed_s" in chosen and "time" not in asked):
        chosen.pop("time", None)
    else:
        chosen.pop("elapsed_s", None)
    _refuse_gaps(path, header, chosen)
    return chosen


def _refuse_gaps(path: Path, header: tuple[str, ...], chosen: Mapping[str, str]) -> None:
    found = ", ".join(name[:40] for name in header[:30])
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


def _refuse_fahrenheit(path: Path, columns: Mapping[str, str]) -> None:
    """Ask for the unit where a column's name says degF: read as degC it would mislead."""
    for name, column in columns.items():
        if name.endswith("_c") and _SAYS_F.fullmatch(column):
            raise UsageError(
                f"The column {column!r} of {path.name} seems to be in °F: add --unit F, or write "
                f'"csv:{path}?unit=F" to keep the band in °C (?unit=C if it is °C after all).'
            )
