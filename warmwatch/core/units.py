"""Temperatures in degC and degF, and the named quantities a reading may carry."""

import math
import re
import sys
from collections.abc import Mapping
from dataclasses import dataclass

from warmwatch.core.reason import Reason

_TEMPERATURE = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?)\s*°?\s*([CcFf]?)\s*")


def f_to_c(fahrenheit: float) -> float:
    """Return degC for degF; exact definition, 32 degF = 0 degC and 1 K = 1.8 degF."""
    return (fahrenheit - 32.0) / 1.8


def c_to_f(celsius: float) -> float:
    """Return degF for degC."""
    return celsius * 1.8 + 32.0


def to_c(value: float, unit: str) -> float:
    """Return `value`, given in `unit` ("C" or "F"), in degC."""
    return f_to_c(value) if unit == "F" else value


def from_c(celsius: float, unit: str) -> float:
    """Return degC in `unit` ("C" or "F")."""
    return c_to_f(celsius) if unit == "F" else celsius


def parse_temperature(text: str, unit: str = "C") -> float:
    """Return degC for a text such as `85`, `85C`, `185F` or `29,5`; a bare number is in `unit`.

    Raises ValueError when the text is no temperature.
    """
    match = _TEMPERATURE.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} is not a temperature")
    number = float(match[1].replace(",", "."))
    return round(to_c(number, match[2].upper() or unit), 9)


@dataclass(frozen=True, slots=True)
class Quantity:
    """One named value of a reading; outside `low`..`high` (inclusive) it is not believed."""

    name: str
    unit: str
    low: float
    high: float
    meaning: str


# The plausible ranges are ours: wide enough for any vehicle that runs, and narrow enough to leave
# out the codes that sensors send when they fail (0 raw is -40 degC, FF raw is 215 degC).
QUANTITIES: dict[str, Quantity] = {
    q.name: q
    for q in (
        Quantity("fluid_c", "degC", -39.0, 180.0, "transmission fluid temperature"),
        Quantity("coolant_c", "degC", -39.0, 150.0, "engine coolant temperature"),
        Quantity("engine_oil_c", "degC", -39.0, 180.0, "engine oil temperature"),
        Quantity("ambient_c", "degC", -39.0, 70.0, "outside air temperature"),
        Quantity("intake_c", "degC", -39.0, 150.0, "intake air temperature"),
        Quantity("engine_rpm", "1/min", 0.0, 10000.0, "engine speed"),
        Quantity("speed_kmh", "km/h", 0.0, 300.0, "vehicle speed"),
        Quantity("load_pct", "%", 0.0, 100.0, "calculated engine load"),
        Quantity("throttle_pct", "%", 0.0, 100.0, "throttle position"),
        Quantity("run_time_s", "s", 0.0, 65535.0, "time since engine start"),
        Quantity("voltage_v", "V", 0.0, 60.0, "supply voltage at the control unit"),
        Quantity("in_park", "0/1", 0.0, 1.0, "selector in park (1) or not (0)"),
        Quantity("oil_level_pct", "%", 0.0, 125.0, "transmission oil level"),
        Quantity("oil_level_offset_l", "l", -62.5, 62.5, "transmission oil over (+) or under full"),
        Quantity("oil_level_timer_min", "min", 0.0, 13.0, "countdown to a valid oil level"),
        Quantity("oil_level_status", "code", 0.0, 15.0, "oil level measurement status"),
    )
}


_BOUNDS = {q.name: (q.low, q.high) for q in QUANTITIES.values()}
_FINITE = (-sys.float_info.max, sys.float_info.max)


def is_plausible(name: str, value: float) -> bool:
    """Return whether `value` can be a real `name`."""
    low, high = _BOUNDS.get(name, _FINITE)
    return low <= value <= high


def implausible(name: str, value: float) -> Reason | None:
    """Return why `value` cannot be a real `name`, or None when it can."""
    quantity = QUANTITIES.get(name)
    if quantity is not None and quantity.low <= value <= quantity.high:
        return None
    if not math.isfinite(value):
        return Reason("not-a-number")
    if quantity is None:
        return None
    ending = "_c" if quantity.unit == "degC" else ""
    figures = {"value": value, "low": quantity.low, "high": quantity.high}
    return Reason("out-of-range", {name + ending: each for name, each in figures.items()})


def plausible(values: Mapping[str, float]) -> Mapping[str, float]:
    """Return the values without those that cannot be real; the same mapping when all can."""
    if all(is_plausible(name, value) for name, value in values.items()):
        return values
    return {name: value for name, value in values.items() if not implausible(name, value)}
