"""`warmwatch learn DIR`: what earlier recordings of a vehicle teach the forecast."""

import json
import math
from collections.abc import Sequence
from pathlib import Path

import click

from warmwatch.analysis.learned import Learned, learn_from, prior_text
from warmwatch.commands.compare.export import write_bytes
from warmwatch.core.forecast.ensemble import NAMES
from warmwatch.core.forecast.prior import Prior, usual_rates
from warmwatch.core.phase import Phase
from warmwatch.core.units import from_c
from warmwatch.errors import RecordingError
from warmwatch.words.catalogue import temperature
from warmwatch.words.compare.notes import note_text
from warmwatch.words.compare.report import NOTES_SHOWN, gathered

BEGINS = b'{\n "format": "warmwatch forecast prior"'
FEW = 3
"""With fewer recordings the spread is mostly the cautious default."""
_SHOWN = (
    (Phase.IDLE, (30.0, 60.0, 80.0)),
    (Phase.LOADED, (30.0, 60.0, 80.0)),
    (Phase.DRIVING, (30.0, 60.0, 80.0)),
    (Phase.OFF, (90.0, 60.0, 40.0)),
)
_PHASES = {"idle": "idling", "loaded": "holding", "driving": "driving", "off": "with engine off"}


@click.command("learn")
@click.argument(
    "paths", nargs=-1, required=True, metavar="RECORDING|DIR...", type=click.Path(path_type=Path)
)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    default=Path("warmwatch-learned.json"),
    show_default=True,
    help="File to keep what was learned.",
    metavar="FILE.json",
)
@click.option("--vehicle", default="", help="Only recordings with this label of the vehicle.")
@click.option("--method", default="", help="Only recordings with this label of the method.")
@click.option(
    "--unit", type=click.Choice(["C", "F"]), help="Unit of what is shown [default: theirs]."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def command(
    paths: Sequence[Path],
    output: Path,
    vehicle: str,
    method: str,
    unit: str | None,
    as_json: bool,
) -> int:
    """Learn the usual pace of warming and cooling from recordings, for `watch --learn FILE`.

    Give recordings of one vehicle: another vehicle has another pace.
    """
    learned = learn_from(paths, vehicle=vehicle, method=method)
    if not learned.prior.runs:
        for line in left_out(learned):
            click.echo(f"warmwatch: {line.strip()}", err=True)
        raise RecordingError(
            f"Nothing can be learned from {', '.join(map(str, paths))}: give recordings of "
            "warmwatch in which the fluid warms up or cools, or folders with some."
        )
    write_bytes(output, prior_text(learned.prior).encode("utf-8"), BEGINS)
    if as_json:
        click.echo(json.dumps(as_object(learned, output), ensure_ascii=False))
    else:
        for line in report(learned, output, unit or learned.unit):
            click.echo(line)
    return 0


def as_object(learned: Learned, output: Path) -> dict[str, object]:
    """Return what was learned, and what was left out, as JSON values."""
    notes = [{"recording": note.name, "text": note_text(note)} for note in learned.notes]
    return {
        "file": str(output),
        "found": learned.found,
        "prior": learned.prior.to_mapping(),
        "vehicles": list(learned.vehicles),
        "methods": list(learned.methods),
        "left_out": notes,
    }


def report(learned: Learned, output: Path, unit: str) -> list[str]:
    """Return what was learned in plain words, and the next command to type."""
    prior = learned.prior
    lines = [f"Recordings: {learned.found} found, {prior.runs} learned from. Written to {output}."]
    if prior.runs < FEW:
        lines.append("So few say little: the forecast stays cautious.")
    lines += [
        "",
        f"Usual pace of the fluid in air of {temperature(20.0, unit)}:",
        *pace_lines(prior, unit),
    ]
    lines.append(f"On two of three days idling makes {spread_text(prior)} times that heat.")
    if prior.shares:
        lines.append(f"Their time was spent {shares_text(prior)}.")
    lines += mixed(learned)
    out = left_out(learned)
    if out:
        lines += ["", "Left out:", *out]
    return [*lines, "", f"Next: warmwatch watch LINK --band LOW:HIGH --learn {output}"]


def mixed(learned: Learned) -> list[str]:
    """Return what is to be told of recordings that do not belong together."""
    lines = []
    if len(learned.vehicles) > 1:
        named = _named(learned.vehicles)
        lines.append(f"They are of several vehicles ({named}): choose one with --vehicle LABEL.")
    if len(learned.methods) > 1:
        named = _named(learned.methods)
        lines.append(
            f"They are of several methods ({named}), and the pace is a mixture of "
            "theirs: choose one with --method LABEL."
        )
    return lines


def _named(labels: Sequence[str]) -> str:
    return ", ".join(label or "no label" for label in labels)


def pace_lines(prior: Prior, unit: str) -> list[str]:
    """Return how fast this vehicle's fluid changes in each way the recordings show."""
    lines = []
    for way, levels in _SHOWN:
        if not prior.knows(way):
            continue
        rates = ", ".join(
            f"{rate * (1.8 if unit == 'F' else 1.0):+.1f} at {from_c(level, unit):.0f} °{unit}"
            for level, rate in usual_rates(prior, way, levels)
        )
        if rates:
            lines.append(f"  {_PHASES[way.value]}: {rates} (°{unit} in a minute)")
    return lines or ["  no way of running was recorded for long enough"]


def spread_text(prior: Prior) -> str:
    """Return the factors one standard deviation below and above the usual heat made at idle."""
    spread = math.sqrt(prior.covariance[NAMES.index("idle")][NAMES.index("idle")])
    return f"{math.exp(-spread):.2f} to {math.exp(spread):.2f}"


def shares_text(prior: Prior) -> str:
    """Return how the time of the recordings was spent."""
    parts = [
        f"{100.0 * share:.0f} % {_PHASES.get(name, name)}"
        for name, share in prior.shares.items()
        if share >= 0.005
    ]
    return ", ".join(parts) or "in no known way"


def left_out(learned: Learned) -> list[str]:
    """Return a line for each reason why recordings were left out."""
    lines = gathered(learned.notes)
    more = len(lines) - NOTES_SHOWN
    return lines if more <= 0 else [*lines[:NOTES_SHOWN], f"  and {more} lines more"]
