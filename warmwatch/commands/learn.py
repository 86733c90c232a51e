"""`warmwatch learn DIR`: what earlier warm-ups of a vehicle teach the forecast."""

import json
import math
from collections.abc import Sequence
from pathlib import Path

import click

from warmwatch.analysis.learned import Learned, learn_from, prior_text
from warmwatch.commands.compare.export import write_bytes
from warmwatch.core.forecast.prior import Prior
from warmwatch.core.units import from_c
from warmwatch.errors import RecordingError
from warmwatch.words.compare.report import NOTES_SHOWN, gathered
from warmwatch.words.events import clock

BEGINS = b'{\n "format": "warmwatch forecast prior"'
STEP_C = 10
LEVELS_C = range(-20, 130, STEP_C)
FEW = 3
"""With fewer recordings the spread is mostly the cautious default."""
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
@click.option("--unit", type=click.Choice(["C", "F"]), default="C", help="Unit of show.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def command(
    paths: Sequence[Path], output: Path, vehicle: str, method: str, unit: str, as_json: bool
) -> int:
    """Learn the usual pace of warming up from recordings, for `watch --learn FILE`.

    Give recordings of one vehicle: another vehicle has another pace.
    """
    learned = learn_from(paths, vehicle=vehicle, method=method)
    if not learned.prior.runs:
        for line in left_out(learned):
            click.echo(f"warmwatch: {line.strip()}", err=True)
        raise RecordingError(
            f"Nothing can be learned from {', '.join(map(str, paths))}: give recordings of "
            "warmwatch in which the fluid warms up, or folders with some."
        )
    write_bytes(output, prior_text(learned.prior).encode("utf-8"), BEGINS)
    if as_json:
        click.echo(json.dumps(as_object(learned, output), ensure_ascii=False))
    else:
        for line in report(learned, output, unit):
            click.echo(line)
    return 0


def as_object(learned: Learned, output: Path) -> dict[str, object]:
    """Return what was learned, and what was left out, as JSON values."""
    notes = [{"recording": note.name, "text": note.text} for note in learned.notes]
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
    lines += ["", "Usual time of the fluid:", *pace_lines(prior, unit)]
    lines.append(f"Two warm-ups in three take {spread_text(prior)} times as long.")
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
        lines.append(f"They are of several vehicles ({named}): --vehicle LABEL chooses one.")
    if len(learned.methods) > 1:
        named = _named(learned.methods)
        lines.append(
            f"They are of several ways of warming up ({named}), and the pace is a mixture of "
            "theirs: --method LABEL chooses one."
        )
    return lines


def _named(labels: Sequence[str]) -> str:
    return ", ".join(label or "no label" for label in labels)


def pace_lines(prior: Prior, unit: str) -> list[str]:
    """Return the usual time for every ten degrees that the recordings passed whole."""
    lines = []
    for low_c in LEVELS_C:
        cells = [prior.log_pace[(low_c + 20) // 2 + i] for i in range(STEP_C // 2)]
        paces = [pace for pace in cells if pace is not None]
        if len(paces) == len(cells):
            seconds = sum(2.0 * math.exp(pace) for pace in paces)
            low, high = from_c(low_c, unit), from_c(low_c + STEP_C, unit)
            lines.append(f"  {low:3.0f} to {high:3.0f} °{unit}  {clock(seconds)}")
    return lines or ["  known for less than ten degrees in a row"]


def spread_text(prior: Prior) -> str:
    """Return the factors one standard deviation between runs below and above the usual time."""
    return f"{math.exp(-prior.between):.2f} to {math.exp(prior.between):.2f}"


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
