"""Amounts of fluid in words: in litres or quarts, as the job has them."""

from collections.abc import Sequence

from warmwatch.core.level.amounts import FILL_C
from warmwatch.core.level.check import Outcome
from warmwatch.core.level.fluid import volume_at
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
from warmwatch.words.events import temperature

ACTS = {
    Act.DRAINED: "drained",
    Act.FILLED: "filled in",
    Act.LET_OUT: "let out at the plug",
    Act.TOPPED_UP: "topped up",
}
_DIGITS = {"L": 2, "mL": 0, "qt": 2, "oz": 1}


def volume_text(litres: float, unit: str = "L") -> str:
    """Return `4.25 L`, `4.49 qt`, `850 mL` or `8.0 oz`."""
    return f"{in_unit(litres, unit):.{_DIGITS[unit]}f} {unit}"


def told_text(entry: Entry, unit: str) -> str:
    """Return an amount as it was told, with its temperature: `4.50 qt at 113 °F`."""
    return f"{volume_text(entry.litres, entry.unit)} at {temperature(entry.temp_c, unit)}"


def spread_text(entry: Entry, unit: str) -> str:
    """Return an amount as it was told, with what it may be off."""
    told = volume_text(entry.litres, entry.unit)
    off = f"{in_unit(entry.litres_err, entry.unit):.2g}"
    degrees = entry.temp_err_c * (1.8 if unit == "F" else 1.0)
    return f"{told} ±{off} at {temperature(entry.temp_c, unit)} ±{degrees:g}"


def ledger_columns(check_c: float, fill_c: float, unit: str) -> list[str]:
    """Return the heads of the ledger's table."""
    known = [temperature(celsius, unit) for celsius in (15.0, fill_c, check_c)]
    return ["what", "as read", *(f"at {text}" for text in known)]


def ledger_cells(entry: Entry, fluid: FluidData, check_c: float, fill_c: float) -> list[str]:
    """Return an amount at 15 °C, at the temperature of new fluid and at check temperature."""
    rho = fluid.density_kg_m3
    shown = [volume_at(entry.litres, entry.temp_c, to_c, rho) for to_c in (fill_c, check_c)]
    volume = shown_unit(fluid)
    return [volume_text(litres, volume) for litres in (at_15(entry, fluid), *shown)]


def put_in_first(fluid: FluidData, unit: str) -> str:
    """Return the order that follows draining: `Put in first: 4.12 L at 20 °C.`"""
    litres = first_fill_l(fluid, FILL_C)
    if litres is None:
        return ""
    shown = volume_text(litres, shown_unit(fluid))
    return f"Put in first: {shown} at {temperature(FILL_C, unit)}."


def first_fill_text(fluid: FluidData, unit: str, fill_c: float = FILL_C) -> str:
    """Return what to put in for what was drained; empty before anything was."""
    litres = first_fill_l(fluid, fill_c)
    if litres is None:
        return ""
    amount = f"{volume_text(litres, shown_unit(fluid))} at {temperature(fill_c, unit)}"
    return (
        f"What was drained takes up {amount}: put in that much first, then set the level at check "
        "temperature."
    )


def balance_text(
    balance: Balance, result: Outcome, unread: Sequence[str] = (), volume: str = "L"
) -> str:
    """Return what the balance says, and whether it fits the level result.

    `volume` is the unit of amounts; `unread` names the marks from which no amount could be read:
    with any, there is no balance.
    """
    if unread:
        return f"No balance: no amount with its unit could be read from {', '.join(unread)}."
    if not balance.complete:
        return "What was drained or what was put in is not in the ledger: no balance."
    spread = f"the reading errors allow ±{volume_text(balance.spread_l, volume)}"
    signed = f"{'-' if balance.net_l < 0 else '+'}{volume_text(abs(balance.net_l), volume)}"
    if balance.closes:
        text = f"What came out went back in ({signed}; {spread})."
        return text + (" This fits the level." if result is Outcome.SET_INSIDE else "")
    way = "more went in than came out" if balance.net_l > 0 else "less went in than came out"
    text = f"{volume_text(abs(balance.net_l), volume)} {way} ({spread})."
    if result is not Outcome.SET_INSIDE:
        return text
    if balance.net_l > 0:
        return text + " The level was set, so it had been low before, or an amount was misread."
    return text + " The level was set, so it had been too high before, or an amount was misread."
