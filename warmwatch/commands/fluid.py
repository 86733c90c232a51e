"""`warmwatch fluid`: the ledger of a job file, and what an error of temperature or tilt costs."""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import click

from warmwatch.commands.proof import job_fluid
from warmwatch.core.level.check import Outcome
from warmwatch.core.level.fluid import (
    Pan,
    expansion_ml_per_c,
    off_temperature_ml,
    off_tilt_ml,
    volume_at,
)
from warmwatch.core.level.ledger import FluidData, at_15, balance, first_fill_l
from warmwatch.core.units import parse_temperature
from warmwatch.errors import UsageError
from warmwatch.words.events import temperature
from warmwatch.words.proof import ACTS, balance_text, litres

_CAUTION = (
    "Reckoned, not measured: the level at the plug decides, and service information comes first. "
    "Hot fluid burns; old fluid is disposed of by local rules."
)


@click.command("fluid")
@click.argument("job_file", required=False, type=click.Path(path_type=Path))
@click.option("--what-if", is_flag=True, help="What an error of temperature or tilt costs.")
@click.option("--capacity", type=float, metavar="L", help="All the fluid, in litres.")
@click.option("--density", type=float, metavar="KG/M3", help="At 15 °C [default: 860].")
@click.option("--at", "at_text", default="90C", show_default=True, help="Check temperature.")
@click.option("--off", type=float, default=10.0, show_default=True, help="Degrees C checked off.")
@click.option("--tilt", type=float, default=2.0, show_default=True, metavar="DEG")
@click.option("--tilt-axis", type=click.Choice(["lengthwise", "crosswise"]), default="lengthwise")
@click.option("--pan-length", type=float, metavar="MM", help="Surface of the fluid, along.")
@click.option("--pan-width", type=float, metavar="MM", help="Surface of the fluid, across.")
@click.option("--plug", type=float, metavar="MM", help="Plug from the middle [default: the end].")
@click.option("--fill-at", default="20C", show_default=True, help="Temperature of new fluid.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def command(
    job_file: Path | None,
    what_if: bool,
    capacity: float | None,
    density: float | None,
    at_text: str,
    off: float,
    tilt: float,
    tilt_axis: str,
    pan_length: float | None,
    pan_width: float | None,
    plug: float | None,
    fill_at: str,
    as_json: bool,
) -> None:
    """Bring what was drained and filled in to one temperature, and say whether it balances.

    JOB_FILE is a job file with a [fluid] section and its ledger. With --what-if: how many mL a
    level checked at the wrong temperature, or with the vehicle tilted, is off.
    """
    fluid = FluidData() if job_file is None else job_fluid(job_file)
    try:
        fluid = _with_options(fluid, capacity, density)
        check_c, fill_c = parse_temperature(at_text), parse_temperature(fill_at)
        if what_if:
            pan = None
            if pan_length is not None and pan_width is not None:
                pan = Pan(pan_length, pan_width, plug)
            result = what_if_object(fluid, check_c, off, pan, tilt, tilt_axis)
            lines = what_if_lines
        elif fluid.ledger:
            result = ledger_object(fluid, check_c, fill_c)
            lines = ledger_lines
        else:
            raise UsageError(
                "There is no ledger: give a job file with [[fluid.ledger]] lines, or --what-if."
            )
    except ValueError as error:
        raise UsageError(f"{str(error)[0].upper()}{str(error)[1:]}.") from None
    _print(result, lines, as_json)


def _print(
    result: dict[str, Any], lines: Callable[[dict[str, Any]], Iterator[str]], as_json: bool
) -> None:
    if as_json:
        click.echo(json.dumps(result, ensure_ascii=False))
        return
    for line in lines(result):
        click.echo(line)
    click.echo(_CAUTION)


def _with_options(fluid: FluidData, capacity_l: float | None, density: float | None) -> FluidData:
    return FluidData(
        fluid.capacity_l if capacity_l is None else capacity_l,
        fluid.density_kg_m3 if density is None else density,
        fluid.density_err_kg_m3,
        fluid.ledger,
    )


def ledger_object(fluid: FluidData, check_c: float, fill_c: float) -> dict[str, Any]:
    """Return the ledger, brought to 15 °C, to 20 °C and to check temperature, in litres."""
    rho, total = fluid.density_kg_m3, balance(fluid)
    return {
        "density_kg_m3": rho,
        "check_c": check_c,
        "fill_c": fill_c,
        "lines": [
            {
                "act": str(entry.act),
                "litres": entry.litres,
                "temp_c": entry.temp_c,
                "at_15_l": at_15(entry, fluid),
                "at_20_l": volume_at(entry.litres, entry.temp_c, 20.0, rho),
                "at_check_l": volume_at(entry.litres, entry.temp_c, check_c, rho),
            }
            for entry in fluid.ledger
        ],
        "out_15_l": total.out_l,
        "put_back_15_l": total.put_back_l,
        "net_15_l": total.net_l,
        "spread_l": total.spread_l,
        "complete": total.complete,
        "closes": total.closes,
        "first_fill_l": first_fill_l(fluid, fill_c),
        "sentence": balance_text(total, Outcome.NO_CHECK),
    }


def ledger_lines(result: dict[str, Any]) -> Iterator[str]:
    """Yield the ledger for people."""
    check = temperature(result["check_c"], "C")
    yield f"{'':22}{'as read':>22}{'at 15 °C':>11}{'at 20 °C':>11}{'at ' + check:>11}"
    for line in result["lines"]:
        read = f"{litres(line['litres'])} at {temperature(line['temp_c'], 'C')}"
        shown = "".join(f"{litres(line[key]):>11}" for key in ("at_15_l", "at_20_l", "at_check_l"))
        yield f"{ACTS[line['act']]:22}{read:>22}{shown}"
    yield result["sentence"]
    if result["first_fill_l"] is not None:
        fill = temperature(result["fill_c"], "C")
        yield (
            f"What was drained takes up {litres(result['first_fill_l'])} at {fill}: put in that "
            "much first, then set the level at check temperature."
        )


def what_if_object(
    fluid: FluidData, check_c: float, off_c: float, pan: Pan | None, tilt_deg: float, axis: str
) -> dict[str, Any]:
    """Return what errors cost, in mL; None where a size that is needed was not given."""
    rho, capacity_l = fluid.density_kg_m3, fluid.capacity_l
    if capacity_l is None and pan is None:
        raise ValueError(
            "give --capacity L for errors of temperature, or --pan-length and --pan-width for tilt"
        )
    result: dict[str, Any] = {"check_c": check_c, "off_c": off_c, "ml_per_c": None}
    result |= {"warm_ml": None, "cold_ml": None, "tilt_deg": tilt_deg, "tilt_axis": axis}
    if capacity_l is not None:
        result["ml_per_c"] = expansion_ml_per_c(capacity_l, check_c, rho)
        result["warm_ml"] = off_temperature_ml(capacity_l, check_c, check_c + abs(off_c), rho)
        result["cold_ml"] = off_temperature_ml(capacity_l, check_c, check_c - abs(off_c), rho)
    return {**result, "tilt_ml": None if pan is None else off_tilt_ml(pan, tilt_deg, axis)}


def what_if_lines(result: dict[str, Any]) -> Iterator[str]:
    """Yield what errors cost, for people."""
    check = temperature(result["check_c"], "C")
    if result["ml_per_c"] is not None:
        off = f"{abs(result['off_c']):g} °C"
        yield f"At {check} the fluid grows by {result['ml_per_c']:.1f} mL per °C."
        for key, word in (("warm_ml", "too warm"), ("cold_ml", "too cold")):
            amount = result[key]
            way = "too little" if amount < 0 else "too much"
            yield f"Level checked {off} {word}: {abs(amount):.0f} mL {way} stays in."
    if result["tilt_ml"] is not None:
        yield (
            f"Vehicle tilted {abs(result['tilt_deg']):g}° {result['tilt_axis']}: up to "
            f"{result['tilt_ml']:.0f} mL too much or too little, depending on the side."
        )
