"""`warmwatch fluid`: the ledger of a job file, what an error costs, how fresh the fluid is."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from warmwatch.commands.options import read_job_file
from warmwatch.commands.proof import job_fluid
from warmwatch.core.level.amounts import FILL_C
from warmwatch.core.level.check import Outcome
from warmwatch.core.level.fluid import (
    Pan,
    expansion_ml_per_c,
    off_temperature_ml,
    off_tilt_ml,
    volume_at,
)
from warmwatch.core.level.fresh import CAPACITY_ERR, MOST_TIMES, fresh_share, times_for
from warmwatch.core.level.ledger import (
    FluidData,
    at_15,
    balance,
    check_unit,
    first_fill_l,
    shown_unit,
)
from warmwatch.core.units import parse_temperature
from warmwatch.core.volume import UNITS, parse_volume
from warmwatch.errors import UsageError
from warmwatch.words.amounts import (
    balance_text,
)
from warmwatch.words.catalogue import phrase
from warmwatch.words.fluid import fresh_lines, ledger_lines, what_if_lines


@click.command("fluid")
@click.argument("job_file", required=False, type=click.Path(path_type=Path))
@click.option("--what-if", is_flag=True, help="What an error of temperature or tilt costs.")
@click.option("--fresh", is_flag=True, help="Share of fresh fluid after each drain-and-fill.")
@click.option("--capacity", metavar="AMOUNT", help='All the fluid, as 8.5, "8.5 L" or "9 qt".')
@click.option("--capacity-err", metavar="AMOUNT", help="What it may be off [default: 5 %].")
@click.option("--drain", metavar="AMOUNT", help="What comes out each time, with --fresh.")
@click.option(
    "--times",
    type=click.IntRange(1, MOST_TIMES),
    default=4,
    show_default=True,
    help="How many drain-and-fills.",
)
@click.option("--wanted", type=float, metavar="PERCENT", help="Share of fresh fluid wanted.")
@click.option("--unit", type=click.Choice(["C", "F"]), help="Of temperatures [default: the job's].")
@click.option("--volume", type=click.Choice(UNITS), help="Of amounts [default: the job's, or L].")
@click.option("--density", type=float, metavar="KG/M3", help="At 15 °C [default: 860].")
@click.option("--at", "at_text", default="90C", show_default=True, help="Check temperature.")
@click.option("--off", type=float, default=10.0, show_default=True, help="Degrees checked off.")
@click.option(
    "--tilt", type=float, default=2.0, show_default=True, metavar="DEG", help="Tilt of the vehicle."
)
@click.option(
    "--tilt-axis",
    type=click.Choice(["lengthwise", "crosswise"]),
    default="lengthwise",
    help="Which way it is tilted.",
)
@click.option("--pan-length", type=float, metavar="MM", help="Surface of the fluid, along.")
@click.option("--pan-width", type=float, metavar="MM", help="Surface of the fluid, across.")
@click.option("--plug", type=float, metavar="MM", help="Plug from the middle [default: the end].")
@click.option("--fill-at", help="Temperature of new fluid [default: 20C].")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def command(
    job_file: Path | None,
    what_if: bool,
    fresh: bool,
    capacity: str | None,
    capacity_err: str | None,
    drain: str | None,
    times: int,
    wanted: float | None,
    unit: str | None,
    volume: str | None,
    density: float | None,
    at_text: str,
    off: float,
    tilt: float,
    tilt_axis: str,
    pan_length: float | None,
    pan_width: float | None,
    plug: float | None,
    fill_at: str | None,
    as_json: bool,
) -> None:
    """Bring what was drained and filled in to one temperature, and say whether it balances.

    JOB_FILE is a job file with a [fluid] section and its ledger. With --what-if: how many mL a
    level checked at the wrong temperature, or with the vehicle tilted, is off. With --fresh: how
    much of the fluid is fresh after each drain-and-fill.
    """
    fluid = FluidData() if job_file is None else job_fluid(job_file)
    unit = unit or _job_unit(job_file)
    try:
        fluid = _with_options(fluid, volume, capacity, density)
        check_c = parse_temperature(at_text, unit)
        fill_c = FILL_C if fill_at is None else parse_temperature(fill_at, unit)
        if fresh:
            share = None if wanted is None else wanted / 100.0
            result = fresh_object(fluid, drain, capacity_err, times, share)
            lines = fresh_lines(result)
        elif what_if:
            pan = None
            if pan_length is not None and pan_width is not None:
                pan = Pan(pan_length, pan_width, plug)
            off_c = off / 1.8 if unit == "F" else off
            result = what_if_object(fluid, check_c, off_c, pan, tilt, tilt_axis)
            lines = what_if_lines(result, unit)
        elif fluid.ledger:
            result = ledger_object(fluid, check_c, fill_c)
            lines = ledger_lines(fluid, check_c, fill_c, unit)
        else:
            raise UsageError(
                "There is no ledger: give a job file with [[fluid.ledger]] lines, --what-if or "
                "--fresh."
            )
    except ValueError as error:
        raise UsageError(f"{str(error)[0].upper()}{str(error)[1:]}.") from None
    _print(result, lines, as_json)


def _job_unit(job_file: Path | None) -> str:
    return "C" if job_file is None else str(read_job_file(job_file).get("unit", "C"))


def _print(result: dict[str, Any], lines: Iterator[str], as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps(result, ensure_ascii=False))
        return
    for line in lines:
        click.echo(line)
    click.echo(phrase("fluid.caution"))


def _with_options(
    fluid: FluidData, volume: str | None, capacity: str | None, density: float | None
) -> FluidData:
    if volume is not None:
        check_unit(volume)
        fluid = replace(fluid, volume=volume)
    if density is not None:
        fluid = replace(fluid, density_kg_m3=density)
    if capacity is None:
        return fluid
    told = parse_volume(capacity, fluid.volume or "L")
    return replace(fluid, capacity_l=told.litres, volume=fluid.volume or told.unit)


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


def fresh_object(
    fluid: FluidData, drain: str | None, capacity_err: str | None, times: int, wanted: float | None
) -> dict[str, Any]:
    """Return the shares of fresh fluid, 0 to 1; amounts in litres."""
    volume, capacity_l = shown_unit(fluid), fluid.capacity_l
    if drain is None or capacity_l is None:
        raise ValueError("give --drain AMOUNT and --capacity AMOUNT, or the capacity in a job file")
    drain_l = parse_volume(drain, volume).litres
    err_l = CAPACITY_ERR * capacity_l
    if capacity_err is not None:
        err_l = parse_volume(capacity_err, volume).litres
    shares = [fresh_share(drain_l, capacity_l, err_l, n) for n in range(1, times + 1)]
    result: dict[str, Any] = {
        "drain_l": drain_l,
        "capacity_l": capacity_l,
        "capacity_err_l": err_l,
        "volume": volume,
        "shares": [{"share": s.share, "low": s.low, "high": s.high} for s in shares],
        "wanted": wanted,
        "times": None,
    }
    if wanted is not None:
        ends = (capacity_l, capacity_l - err_l, capacity_l + err_l)
        found = [times_for(wanted, min(drain_l, end_l), end_l) for end_l in ends]
        result["times"] = dict(zip(("times", "least", "most"), found, strict=True))
    return result


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
