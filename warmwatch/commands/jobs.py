"""`warmwatch jobs DIR`: the recordings of a folder with what they show, newest first."""

import json
from pathlib import Path

import click

from warmwatch.core.band import Band
from warmwatch.recording.jobs import Listed, list_recordings, listed_object
from warmwatch.words.events import band_text, clock
from warmwatch.words.proof import outcome_word

NOT_VERIFIED = "Not verified: each line repeats what stands at the end of its recording."


@click.command("jobs")
@click.argument("folder", type=click.Path(path_type=Path), default=Path("warmwatch-recordings"))
@click.option("--unit", type=click.Choice(["C", "F"]), default="C", help="Unit of show.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def command(folder: Path, unit: str, as_json: bool) -> None:
    """List the recordings in FOLDER [default: warmwatch-recordings], newest first.

    What each shows is as it was written at its end, and not verified: `warmwatch verify` does that.
    """
    found = list_recordings(folder)
    if as_json:
        jobs = [listed_object(one) for one in found]
        told = {"folder": str(folder), "verified": False, "jobs": jobs}
        click.echo(json.dumps(told, ensure_ascii=False))
        return
    for one in found:
        click.echo(line(one, unit))
    if not found:
        click.echo(f"No recording in {folder}.")
    else:
        click.echo(NOT_VERIFIED)
        click.echo(f"Next: warmwatch verify {found[0].path}")
        click.echo(f"      warmwatch proof {found[0].path}")


def line(one: Listed, unit: str) -> str:
    """Return one recording as a line."""
    when = one.time[:16].replace("T", " ") + " UTC" if one.time else "time not known"
    labels = ", ".join(label for label in (one.vehicle, one.method) if label) or "no label"
    band = ""
    if one.low_c is not None and one.high_c is not None:
        band = f", {band_text(Band(one.low_c, one.high_c), unit)}"
    length = "" if one.length_s is None else f", {clock(one.length_s)}"
    shows = one.trouble or outcome_word(one.outcome)
    return f"{when}  {labels}{band}{length}: {shows}  [{one.path.name}]"
