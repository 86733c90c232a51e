"""What `warmwatch fluid` says: the ledger, what errors cost, how fresh the fluid is."""

from collections.abc import Iterator
from typing import Any

from warmwatch.core.level.check import Outcome
from warmwatch.core.level.ledger import FluidData, balance, shown_unit
from warmwatch.words.amounts import (
    act_name,
    balance_text,
    first_fill_text,
    ledger_cells,
    ledger_columns,
    told_text,
    volume_text,
)
from warmwatch.words.catalogue import phrase, temperature


def ledger_lines(fluid: FluidData, check_c: float, fill_c: float, unit: str) -> Iterator[str]:
    """Yield the ledger for people."""
    _, read, *heads = ledger_columns(check_c, fill_c, unit)
    yield f"{'':22}{read:>22}" + "".join(f"{head:>12}" for head in heads)
    for entry in fluid.ledger:
        cells = "".join(f"{cell:>12}" for cell in ledger_cells(entry, fluid, check_c, fill_c))
        yield f"{act_name(entry.act):22}{told_text(entry, unit):>22}{cells}"
    yield balance_text(balance(fluid), Outcome.NO_CHECK, volume=shown_unit(fluid))
    if text := first_fill_text(fluid, unit, fill_c):
        yield text


def fresh_lines(result: dict[str, Any]) -> Iterator[str]:
    """Yield the shares of fresh fluid for people."""
    amounts = (result[key] for key in ("drain_l", "capacity_l", "capacity_err_l"))
    drain, capacity, err = (volume_text(litres, result["volume"]) for litres in amounts)
    yield phrase("fluid.each-time", drain=drain, capacity=capacity, err=err)
    for times, share in enumerate(result["shares"], 1):
        low, middle, high = (100.0 * share[key] for key in ("low", "share", "high"))
        figures = {"middle": f"{middle:3.0f}", "low": f"{low:.0f}", "high": f"{high:.0f}"}
        yield phrase("fluid.after", times=times, **figures)
    if (found := result["times"]) is not None:
        wide = found["least"] != found["most"]
        ends = {"least": f"{found['least']}", "most": f"{found['most']}"}
        spread = phrase("fluid.wanted-spread", **ends) if wide else ""
        wanted = 100.0 * result["wanted"]
        yield phrase("fluid.wanted", wanted=wanted, times=f"{found['times']}", spread=spread)
    yield phrase("fluid.mixing")


def what_if_lines(result: dict[str, Any], unit: str) -> Iterator[str]:
    """Yield what errors cost, for people."""
    check, degrees = temperature(result["check_c"], unit), 1.8 if unit == "F" else 1.0
    if result["ml_per_c"] is not None:
        off = f"{abs(result['off_c']) * degrees:g} °{unit}"
        ml = f"{result['ml_per_c'] / degrees:.1f}"
        yield phrase("fluid.grows", check=check, ml=ml, degree=f"°{unit}")
        for way in ("warm", "cold"):
            amount = result[f"{way}_ml"]
            code = f"fluid.{way}-{'little' if amount < 0 else 'much'}"
            yield phrase(code, off=off, ml=f"{abs(amount):.0f}")
    if result["tilt_ml"] is not None:
        tilt = phrase(f"axis.{result['tilt_axis']}", deg=f"{abs(result['tilt_deg']):g}°")
        yield phrase("fluid.tilted", tilt=tilt, ml=f"{result['tilt_ml']:.0f}")
