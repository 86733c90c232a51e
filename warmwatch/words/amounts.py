"""Amounts of fluid in words: in litres or quarts, as the job has them."""

from collections.abc import Sequence

from warmwatch.core.level.amounts import FILL_C, GUESS_ERR_C
from warmwatch.core.level.check import Outcome
from warmwatch.core.level.fluid import BASE_C, volume_at
from warmwatch.core.level.ledger import (
    Act,
    Balance,
    Entry,
    FluidData,
    at_15,
    first_fill_l,
    shown_unit,
)
from warmwatch.core.volume import in_unit
from warmwatch.words.catalogue import phrase, temperature

_DIGITS = {"L": 2, "mL": 0, "qt": 2, "oz": 1}


def volume_text(litres: float, unit: str = "L") -> str:
    """Return `4.25 L`, `4.49 qt`, `850 mL` or `8.0 oz`."""
    return f"{in_unit(litres, unit):.{_DIGITS[unit]}f} {unit}"


def little_text(millilitres: float, fluid: FluidData, digits: int = 0) -> str:
    """Return `6 mL`, or `0.20 oz` where the job's amounts are in quarts."""
    if shown_unit(fluid) in ("qt", "oz"):
        return f"{in_unit(millilitres / 1000.0, 'oz'):.2f} oz"
    return f"{millilitres:.{digits}f} mL"


def told_text(entry: Entry, unit: str) -> str:
    """Return an amount as it was told, with its temperature: `4.50 qt at 113 °F`."""
    return _at(volume_text(entry.litres, entry.unit), entry.temp_c, unit)


def _at(amount: str, temp_c: float, unit: str, code: str = "told") -> str:
    return phrase(f"amount.{code}", amount=amount, temp=temperature(temp_c, unit))


def spread_text(entry: Entry, unit: str) -> str:
    """Return an amount as it was told, with what it may be off."""
    told = volume_text(entry.litres, entry.unit)
    off = f"{in_unit(entry.litres_err, entry.unit):.2g}"
    degrees = entry.temp_err_c * (1.8 if unit == "F" else 1.0)
    temp = temperature(entry.temp_c, unit)
    return phrase("amount.spread", amount=told, off=off, temp=temp, temp_off=degrees)


def ledger_columns(check_c: float, fill_c: float, unit: str) -> list[str]:
    """Return the heads of the ledger's table."""
    known = [temperature(celsius, unit) for celsius in (15.0, fill_c, check_c)]
    at = [phrase("amount.column", temp=text) for text in known]
    return [phrase("amount.what"), phrase("amount.as-read"), *at]


def ledger_cells(entry: Entry, fluid: FluidData, check_c: float, fill_c: float) -> list[str]:
    """Return an amount at 15 °C, at the temperature of new fluid and at check temperature."""
    rho = fluid.density_kg_m3
    shown = [volume_at(entry.litres, entry.temp_c, to_c, rho) for to_c in (fill_c, check_c)]
    volume = shown_unit(fluid)
    return [volume_text(litres, volume) for litres in (at_15(entry, fluid), *shown)]


def put_in_first(fluid: FluidData, unit: str) -> str:
    """Return the order that follows draining: `Put in first: 4.12 L at 20 °C.`"""
    return _drained("put-in-first", fluid, unit, FILL_C)


def first_fill_text(fluid: FluidData, unit: str, fill_c: float = FILL_C) -> str:
    """Return what to put in for what was drained; empty before anything was."""
    return _drained("first-fill", fluid, unit, fill_c)


def takes_up_text(fluid: FluidData, unit: str) -> str:
    """Return how much new fluid has the volume of what was drained; empty before anything was."""
    return _drained("takes-up", fluid, unit, FILL_C)


def _drained(code: str, fluid: FluidData, unit: str, fill_c: float) -> str:
    litres = first_fill_l(fluid, fill_c)
    return "" if litres is None else _at(volume_text(litres, shown_unit(fluid)), fill_c, unit, code)


def act_name(act: Act) -> str:
    """Return what an act with the fluid is called."""
    return phrase(f"amount.{act}")


def understood_text(entry: Entry, unit: str) -> str:
    """Return what was understood of a mark that tells an amount."""
    guessed = phrase("amount.guessed") if entry.temp_err_c == GUESS_ERR_C else ""
    told = told_text(entry, unit)
    return phrase("amount.understood", act=act_name(entry.act), told=told, guessed=guessed)


def cold_text(entry: Entry, density_kg_m3: float, unit: str) -> str:
    """Return an amount as it was told, and its volume at the temperature of new fluid."""
    cold_l = volume_at(entry.litres, entry.temp_c, FILL_C, density_kg_m3)
    cold, temp = volume_text(cold_l, entry.unit), temperature(FILL_C, unit)
    return phrase("amount.cold", told=told_text(entry, unit), amount=cold, temp=temp)


def balance_text(
    balance: Balance,
    result: Outcome,
    unread: Sequence[str] = (),
    volume: str = "L",
    *,
    ran_out: bool = False,
) -> str:
    """Return what the balance says, and whether it fits the level result.

    `volume` is the unit of amounts; `unread` names the marks from which no amount could be read:
    with any, there is no balance. `ran_out`: at the check some ran out that nobody measured.
    """
    if unread:
        return phrase("balance.unread", marks=", ".join(unread))
    if not balance.complete:
        return phrase("balance.incomplete")
    amount, spread = (
        volume_text(litres, volume) for litres in (abs(balance.net_l), balance.spread_l)
    )
    way = "closes" if balance.closes else "more" if balance.net_l > 0 else "less"
    sign = "-" if balance.net_l < 0 else "+"
    text = phrase(f"balance.{way}", amount=amount, signed=f"{sign}{amount}", spread=spread)
    if result is not Outcome.SET_INSIDE:
        return text
    fits = "ran-out" if ran_out and way == "more" else _FITS[way]
    return text + phrase(f"balance.{fits}")


_FITS = {"closes": "fits", "more": "was-low", "less": "was-high"}


def reckoned_text(fluid: FluidData, unit: str) -> str:
    """Return by what standard amounts were brought to other temperatures."""
    return phrase(
        "balance.reckoned",
        density=fluid.density_kg_m3,
        density_err=fluid.density_err_kg_m3,
        base=temperature(BASE_C, unit),
    )
