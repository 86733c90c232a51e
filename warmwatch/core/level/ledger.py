"""The fluid ledger: what came out and what went in, brought to one temperature.

The uncertainty follows the GUM (JCGM 100:2008): a stated reading error is half the width of a
rectangular distribution (standard uncertainty = error / sqrt 3), errors of cans and thermometers
are independent, the error of the density is the same in every line; the expanded uncertainty has
a coverage factor of 2, about 95 %.
"""

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from warmwatch.core.level.fluid import BASE_C, DENSITY_KG_M3, alpha15, check_density, vcf, volume_at
from warmwatch.core.reading import Mark, MarkName
from warmwatch.core.units import parse_temperature

MAX_LINES = 50
LITRES_ERR = 0.05
"""Half a mark of a can with marks every 0.1 L (ours, no source)."""
TEMP_ERR_C = 5.0
DENSITY_ERR_KG_M3 = 20.0


class Act(StrEnum):
    """What was done with the fluid."""

    DRAINED = "drained"
    FILLED = "filled"
    LET_OUT = "let-out"
    TOPPED_UP = "topped-up"


_INTO = {Act.DRAINED: -1.0, Act.FILLED: 1.0, Act.LET_OUT: -1.0, Act.TOPPED_UP: 1.0}


@dataclass(frozen=True, slots=True)
class Entry:
    """One line: `litres` as read at `temp_c`, each with the half-width of its error."""

    act: Act
    litres: float
    temp_c: float
    litres_err: float = LITRES_ERR
    temp_err_c: float = TEMP_ERR_C

    def __post_init__(self) -> None:
        if not 0.0 < self.litres <= 100.0:
            raise ValueError(f"litres: {self.litres:g} is no amount between 0 and 100")
        if not 0.0 <= self.litres_err <= 10.0 or not 0.0 <= self.temp_err_c <= 50.0:
            raise ValueError("litres_err and temp_err_c: small errors of zero or more are needed")
        if not -40.0 <= self.temp_c <= 150.0:
            raise ValueError(f"temp: {self.temp_c:g} °C is no temperature of fluid in a can")


@dataclass(frozen=True, slots=True)
class FluidData:
    """The `[fluid]` section of a job: `capacity_l` is all the fluid, None where not known."""

    capacity_l: float | None = None
    density_kg_m3: float = DENSITY_KG_M3
    density_err_kg_m3: float = DENSITY_ERR_KG_M3
    ledger: tuple[Entry, ...] = ()

    def __post_init__(self) -> None:
        check_density(self.density_kg_m3)
        if not 0.0 <= self.density_err_kg_m3 <= 100.0:
            raise ValueError("density_err_kg_m3: a small error of zero or more is needed")
        if self.capacity_l is not None and not 0.5 <= self.capacity_l <= 100.0:
            raise ValueError(f"capacity_l: {self.capacity_l:g} L is no transmission's fluid")
        if len(self.ledger) > MAX_LINES:
            raise ValueError(f"ledger: more than {MAX_LINES} lines")


@dataclass(frozen=True, slots=True)
class Balance:
    """The ledger summed up, in litres at 15 degC; `spread_l` is the expanded uncertainty (k = 2).

    `net_l` is above zero when more went in than came out.
    """

    out_l: float
    put_back_l: float
    net_l: float
    spread_l: float
    complete: bool

    @property
    def closes(self) -> bool:
        """Return whether the difference lies within the reading errors."""
        return self.complete and abs(self.net_l) <= self.spread_l


def balance(fluid: FluidData) -> Balance:
    """Return the balance; it is complete when something was drained and something filled in."""
    entries = fluid.ledger
    out_l = sum(at_15(e, fluid) for e in entries if e.act is Act.DRAINED)
    net_l = sum(_INTO[e.act] * at_15(e, fluid) for e in entries)
    acts = {entry.act for entry in entries}
    return Balance(
        out_l=out_l,
        put_back_l=net_l + out_l,
        net_l=net_l,
        spread_l=_spread(fluid),
        complete=Act.DRAINED in acts and bool({Act.FILLED, Act.TOPPED_UP} & acts),
    )


def at_15(entry: Entry, fluid: FluidData) -> float:
    """Return an entry's litres at 15 degC."""
    return entry.litres * vcf(fluid.density_kg_m3, entry.temp_c)


def _spread(fluid: FluidData) -> float:
    rho, by_density, variance = fluid.density_kg_m3, 0.0, 0.0
    for entry in fluid.ledger:
        factor = vcf(rho, entry.temp_c)
        slope = (vcf(rho, entry.temp_c + 0.5) - vcf(rho, entry.temp_c - 0.5)) * entry.litres
        variance += (factor * entry.litres_err) ** 2 + (slope * entry.temp_err_c) ** 2
        # d ln VCF / d rho = a dT (1 + 1.6 a dT) / rho
        lean = -math.log(factor) + 0.8 * (alpha15(rho) * (entry.temp_c - BASE_C)) ** 2
        by_density += _INTO[entry.act] * entry.litres * factor * lean / rho
    variance += (by_density * fluid.density_err_kg_m3) ** 2
    return 2.0 * math.sqrt(variance / 3.0)


def first_fill_l(fluid: FluidData, fill_c: float) -> float | None:
    """Return how many litres at `fill_c` replace what was drained; None before anything was."""
    drained = [entry for entry in fluid.ledger if entry.act is Act.DRAINED]
    if not drained:
        return None
    return sum(volume_at(e.litres, e.temp_c, fill_c, fluid.density_kg_m3) for e in drained)


_AMOUNT = re.compile(
    r"\s*(\d+(?:[.,]\d+)?)\s*(ml|l|lit(?:re|er)s?|qts?|quarts?)(?!\w)\.?"
    r"(?:\s*(?:at|@)?\s*(-?[\d.,]+\s*°?[CF]))?",
    re.I,
)
_UNITS_L = {"m": 0.001, "l": 1.0, "q": 0.946352946}
"""By the first letter of the unit; the US liquid quart by its definition (231 / 4 cubic inches)."""
_ACTS = {
    MarkName.DRAINED: Act.DRAINED,
    MarkName.FILLED: Act.FILLED,
    MarkName.LET_OUT: Act.LET_OUT,
    MarkName.TOPPED_UP: Act.TOPPED_UP,
}


def is_amount(mark: Mark) -> bool:
    """Return whether a mark is one that belongs into the ledger."""
    return mark.name in _ACTS


def mark_entry(mark: Mark, hot_c: float | None) -> Entry | None:
    """Return the ledger line of a mark whose note begins with an amount, as `4.25 L 85 C`.

    Without a temperature, what came out has `hot_c` (the fluid's, where it is known) and what went
    in 20 degC, both with a wide error.
    """
    act, match = _ACTS.get(mark.name), _AMOUNT.match(mark.note)
    if act is None or match is None:
        return None
    litres = float(match[1].replace(",", ".")) * _UNITS_L[match[2][0].lower()]
    try:
        if match[3]:
            return Entry(act, litres, parse_temperature(match[3]))
        guess_c = hot_c if _INTO[act] < 0 and hot_c is not None else 20.0
        return Entry(act, litres, guess_c, temp_err_c=15.0)
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
        }
        for e in fluid.ledger
    ]
    head = {name: getattr(fluid, name) for name in _NUMBERS}
    return {**head, "ledger": lines}


_NUMBERS = ("capacity_l", "density_kg_m3", "density_err_kg_m3")
_LINE_KEYS = ("act", "litres", "temp", "temp_c", "litres_err", "temp_err_c")


def fluid_from_mapping(mapping: Mapping[str, Any]) -> FluidData:
    """Return the `[fluid]` section; ValueError names the key that is wrong."""
    unknown = mapping.keys() - {*_NUMBERS, "ledger"}
    if unknown:
        raise ValueError(f"{min(unknown)}: there is no such key in fluid")
    numbers = {key: _number(key, mapping[key]) for key in _NUMBERS if mapping.get(key) is not None}
    lines = mapping.get("ledger", [])
    if not isinstance(lines, list | tuple):
        raise ValueError("ledger: a list of lines is needed, as [[fluid.ledger]]")
    return FluidData(**numbers, ledger=tuple(_entries(lines)))


def _entries(lines: Iterable[Any]) -> Iterable[Entry]:
    for number, line in enumerate(lines, 1):
        try:
            yield _entry(line)
        except ValueError as error:
            raise ValueError(f"ledger line {number}: {error}") from None


def _entry(line: Any) -> Entry:
    if not isinstance(line, Mapping) or not {"act", "litres"} <= line.keys():
        raise ValueError("act and litres are needed")
    if unknown := line.keys() - set(_LINE_KEYS):
        raise ValueError(f"{min(unknown)}: there is no such key in a ledger line")
    if line["act"] not in set(Act):
        raise ValueError(f"act: {line['act']!r} is none of {', '.join(Act)}")
    errors = {k: _number(k, line[k]) for k in ("litres_err", "temp_err_c") if k in line}
    return Entry(Act(line["act"]), _number("litres", line["litres"]), _temp_c(line), **errors)


def _temp_c(line: Mapping[str, Any]) -> float:
    if isinstance(line.get("temp"), str):
        return parse_temperature(line["temp"])
    if "temp_c" in line:
        return _number("temp_c", line["temp_c"])
    raise ValueError('temp: the temperature of the fluid in the can is needed, as temp = "85C"')


def _number(key: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{key}: a number is needed, not {value!r}")
    return float(value)
