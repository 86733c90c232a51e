"""Volumes as they are told in a shop: litres, millilitres, US liquid quarts, US fluid ounces.

The quart is 231/4 cubic inches and the ounce a 32nd of it. NIST SP 811 (2008), appendix B, prints
9.463 529 E-04 m³ and 2.957 353 E-05 m³.
"""

import re
from dataclasses import dataclass

QUART_L = 0.946352946
LITRES = {"L": 1.0, "mL": 0.001, "qt": QUART_L, "oz": QUART_L / 32.0}
UNITS = tuple(LITRES)

NUMBER = r"(?:\d+\s+\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?)"
UNIT = r"(?:ml|millilit(?:re|er)s?|l|lit(?:re|er)s?|qts?|quarts?|(?:fl\.?\s?)?oz|ounces?)(?!\w)\.?"
AMOUNT = rf"{NUMBER}\s*{UNIT}(?:\s+{NUMBER}\s*{UNIT})?"
_PART = re.compile(rf"({NUMBER})\s*({UNIT})?", re.I)
_WHOLE = re.compile(rf"\s*(?:{AMOUNT}|{NUMBER})\s*", re.I)


@dataclass(frozen=True, slots=True)
class Volume:
    """An amount in litres, and the unit in which it was told (one of UNITS)."""

    litres: float
    unit: str = "L"


def parse_volume(text: str, unit: str = "") -> Volume:
    """Return the volume of `4.25 L`, `4 1/2 qt`, `8 oz` or `4 qt 8 oz`.

    A bare number is in `unit`. ValueError when it is no volume, or when it has no unit at all.

    >>> round(parse_volume("4 1/2 qt").litres, 4), parse_volume("8 oz").unit
    (4.2586, 'oz')
    """
    if _WHOLE.fullmatch(text) is None:
        raise ValueError(f'{text!r} is no amount: write it like "4.25 L", "4 1/2 qt" or "8 oz"')
    litres, first = 0.0, ""
    for number, told in _PART.findall(text):
        name = _unit(told) if told else unit
        if not name:
            raise ValueError(f'{text!r} has no unit: write it like "{text.strip()} L" or with qt')
        litres += _number(number) * LITRES[name]
        first = first or name
    return Volume(round(litres, 9), first)


def _number(text: str) -> float:
    whole, _, fraction = text.rpartition(" ") if "/" in text else (text, "", "")
    value = float(whole.replace(",", ".")) if whole.strip() else 0.0
    if fraction:
        above, _, below = fraction.partition("/")
        if not float(below):
            raise ValueError(f"{text!r} divides by zero")
        value += float(above) / float(below)
    return value


def _unit(told: str) -> str:
    letters = told.lower()
    if ("o" in letters and "z" in letters) or letters.startswith("ounce"):
        return "oz"
    return "mL" if letters[0] == "m" else {"l": "L", "q": "qt"}[letters[0]]


def in_unit(litres: float, unit: str) -> float:
    """Return litres in one of UNITS."""
    return litres / LITRES[unit]
