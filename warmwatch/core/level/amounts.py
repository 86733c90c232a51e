"""Amounts of fluid as they are told: in a mark, or in the `[fluid]` section of a job file.

Bare temperatures are in the job's unit; bare amounts, in the job file, in the section's `volume`.
"""

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from warmwatch.core.level.ledger import INTO, Act, Entry, FluidData
from warmwatch.core.reading import Mark, MarkName
from warmwatch.core.units import parse_temperature
from warmwatch.core.volume import AMOUNT, Volume, parse_volume

FILL_C = 20.0
"""New fluid where nobody says better."""
GUESS_ERR_C = 15.0
MOST_L = 60.0
"""No transmission of a road vehicle holds so much (ours, no source)."""
_TOLD = re.compile(
    rf"\s*({AMOUNT})(?:\s*(?:at|@)?\s*(-?\d+(?:[.,]\d+)?\s*(?:°?\s*[CF](?!\w)|°?(?=\s*(?:$|[,;(])))))?",
    re.I,
)
_ACTS = {
    MarkName.DRAINED: Act.DRAINED,
    MarkName.FILLED: Act.FILLED,
    MarkName.LET_OUT: Act.LET_OUT,
    MarkName.TOPPED_UP: Act.TOPPED_UP,
}


def is_amount(mark: Mark) -> bool:
    """Return whether a mark is one that belongs into the ledger."""
    return mark.name in _ACTS


def is_too_large(litres: float, capacity_l: float | None) -> bool:
    """Return whether an amount can only be a slip: more than all the fluid there is."""
    return litres > (MOST_L if capacity_l is None else capacity_l)


def mark_entry(mark: Mark, hot_c: float | None, unit: str = "C") -> Entry | None:
    """Return the ledger line of a mark whose note begins with an amount, as `4.25 L 85 C`.

    A bare temperature is in `unit`. Without one, what came out has `hot_c` (the fluid's, where it
    is known) and what went in FILL_C, both with a wide error.
    """
    act, match = _ACTS.get(mark.name), _TOLD.match(mark.note)
    if act is None or match is None:
        return None
    try:
        told = parse_volume(match[1])
        if match[2]:
            temp_c = parse_temperature(match[2], unit)
            return Entry(act, told.litres, temp_c, unit=told.unit)
        guess_c = hot_c if INTO[act] < 0 and hot_c is not None else FILL_C
        return Entry(act, told.litres, guess_c, temp_err_c=GUESS_ERR_C, unit=told.unit)
    except ValueError:
        return None


def fluid_to_mapping(fluid: FluidData) -> dict[str, Any]:
    """Return the section as JSON values; `fluid_from_mapping` reads it back."""
    lines = [
        {
            "act": str(e.act),
            "litres": e.litres,
            "temp_c": e.temp_c,
            "litres_err": e.litres_err,
            "temp_err_c": e.temp_err_c,
            "volume": e.unit,
        }
        for e in fluid.ledger
    ]
    return {
        **{name: getattr(fluid, name) for name in _NUMBERS},
        "volume": fluid.volume,
        "ledger": lines,
    }


_NUMBERS = ("capacity_l", "density_kg_m3", "density_err_kg_m3")
_KEYS = ("capacity", *_NUMBERS, "volume", "ledger")
_LINE_KEYS = (
    "act", "amount", "litres", "temp", "temp_c",
    "amount_err", "litres_err", "temp_err_c", "volume",
)  # fmt: skip


def fluid_from_mapping(mapping: Mapping[str, Any], unit: str = "C") -> FluidData:
    """Return the `[fluid]` section; bare temperatures are in `unit`.

    ValueError names the key that is wrong.
    """
    if unknown := mapping.keys() - set(_KEYS):
        known = ", ".join(_KEYS)
        raise ValueError(f"{min(unknown)}: there is no such key in fluid; known are {known}")
    fluid = FluidData(volume=_text("volume", mapping.get("volume", "")))
    numbers: dict[str, Any] = {
        key: _number(key, mapping[key]) for key in _NUMBERS if mapping.get(key) is not None
    }
    if "capacity" in mapping:
        told = _amount("capacity", mapping["capacity"], fluid.volume)
        numbers["capacity_l"] = told.litres
        fluid = replace(fluid, volume=fluid.volume or told.unit)
    lines = mapping.get("ledger", [])
    if not isinstance(lines, list | tuple):
        raise ValueError("ledger: a list of lines is needed, as [[fluid.ledger]]")
    return replace(fluid, **numbers, ledger=tuple(_entries(lines, fluid.volume, unit)))


def _entries(lines: Iterable[Any], volume: str, unit: str) -> Iterable[Entry]:
    for number, line in enumerate(lines, 1):
        try:
            yield _entry(line, volume, unit)
        except ValueError as error:
            raise ValueError(f"ledger line {number}: {error}") from None


def _entry(line: Any, volume: str, unit: str) -> Entry:
    if not isinstance(line, Mapping) or "act" not in line or not {"amount", "litres"} & line.keys():
        raise ValueError('act and amount are needed, as act = "drained" and amount = "4.25 L"')
    if unknown := line.keys() - set(_LINE_KEYS):
        raise ValueError(f"{min(unknown)}: there is no such key in a ledger line")
    if line["act"] not in set(Act):
        raise ValueError(f"act: {line['act']!r} is none of {', '.join(Act)}")
    if "amount" in line:
        told = _amount("amount", line["amount"], volume)
    else:
        told = Volume(_number("litres", line["litres"]), _text("volume", line.get("volume", "L")))
    errors = {k: _number(k, line[k]) for k in ("litres_err", "temp_err_c") if k in line}
    if "amount_err" in line:
        errors["litres_err"] = _amount("amount_err", line["amount_err"], told.unit).litres
    return Entry(Act(line["act"]), told.litres, _temp_c(line, unit), **errors, unit=told.unit)


def _amount(key: str, value: Any, unit: str) -> Volume:
    """Return an amount; a bare number needs the section's `volume`."""
    text = f"{value!r}" if isinstance(value, int | float) and not isinstance(value, bool) else value
    try:
        return parse_volume(_text(key, text), unit)
    except ValueError as error:
        raise ValueError(f"{key}: {str(error).removeprefix(f'{key}: ')}") from None


def _temp_c(line: Mapping[str, Any], unit: str) -> float:
    if "temp_c" in line:
        return _number("temp_c", line["temp_c"])
    value = line.get("temp")
    if isinstance(value, str):
        return parse_temperature(value, unit)
    if value is not None:
        return parse_temperature(repr(_number("temp", value)), unit)
    raise ValueError('temp: the temperature of the fluid in the can is needed, as temp = "85C"')


def _text(key: str, value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f'{key}: a text in quotes is needed, not {value!r}, as "4.25 L"')
    return value


def _number(key: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{key}: a number is needed, not {value!r}")
    return float(value)
