"""`warmwatch jobs DIR`: the visits and recordings of a folder with what they show, newest first."""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from warmwatch.app.known import folder_of, shop_text
from warmwatch.core.level.verdict import together
from warmwatch.recording.jobs import Listed, list_recordings, listed_object, visits
from warmwatch.recording.rows import utc_seconds
from warmwatch.words.events import band_text, clock
from warmwatch.words.verdict import verdict_lines

NOT_VERIFIED = "Not verified: each line repeats what stands at the end of its recording."


@click.command("jobs")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option("--unit", type=click.Choice(["C", "F"]), help="Unit of show [default: each job's].")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def command(folder: Path | None, unit: str | None, as_json: bool) -> None:
    """List the recordings in FOLDER by visit, newest first.

    Without FOLDER it is the book's, else warmwatch-recordings. What each shows is as it was written
    at its end, and not verified: `warmwatch verify` does that.
    """
    folder = folder or folder_of(shop_text("recordings"))
    found = list_recordings(folder)
    if as_json:
        jobs = [listed_object(one) for one in found]
        told = {"folder": str(folder), "verified": False, "jobs": jobs}
        click.echo(json.dumps(told, ensure_ascii=False))
        return
    grouped = visits(found)
    for visit in grouped:
        for line in visit_lines(visit, unit):
            click.echo(line)
    if not found:
        click.echo(f"No recording in {folder}.")
    else:
        files = " ".join(str(one.path) for one in grouped[0])
        click.echo(NOT_VERIFIED)
        click.echo(f"Next: warmwatch verify {grouped[0][-1].path}")
        click.echo(f"      warmwatch proof {files}")


def visit_lines(visit: Sequence[Listed], unit: str | None) -> Iterator[str]:
    """Yield a visit: its recordings, oldest first, and below them the one verdict."""
    for one in visit:
        yield line(one, unit)
    last = visit[-1]
    verdicts = [one.verdict for one in visit if one.verdict is not None]
    if verdicts and last.band is not None:
        verdict = together(verdicts)
        yield from (f"    {text}" for text in verdict_lines(verdict, last.band, unit or last.unit))
    yield from (f"    {one.path.name}: {one.trouble}" for one in visit if one.trouble)


def line(one: Listed, unit: str | None) -> str:
    """Return one recording as a line."""
    utc_s = utc_seconds(one.time)
    when = "time not known" if utc_s is None else one.zone.text(utc_s)
    labels = ", ".join(label for label in (one.vehicle, one.method) if label) or "no label"
    band = "" if one.band is None else f", {band_text(one.band, unit or one.unit)}"
    length = "" if one.length_s is None else f", {clock(one.length_s)}"
    return f"{when}  {labels}{band}{length}  [{one.path.name}]"
