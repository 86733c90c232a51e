"""`warmwatch jobs DIR`: the visits and recordings of a folder with what they show, newest first."""

import json
from pathlib import Path

import click

from warmwatch.app.known import folder_of, shop_text
from warmwatch.errors import one_line
from warmwatch.recording.jobs import list_recordings, listed_object, visits
from warmwatch.words.catalogue import next_lines, phrase
from warmwatch.words.jobs import trouble_text, visit_lines


@click.command("jobs")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@click.option(
    "--unit", type=click.Choice(["C", "F"]), help="Unit of what is shown [default: each job's]."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")
def command(folder: Path | None, unit: str | None, as_json: bool) -> None:
    """List the recordings in FOLDER by visit, newest first.

    Without FOLDER it is the book's, else warmwatch-recordings. What each shows is as it was written
    at its end, and not verified: `warmwatch verify` does that.
    """
    folder = folder or folder_of(shop_text("recordings"))
    found = list_recordings(folder)
    if as_json:
        jobs = [{**listed_object(one), "trouble": trouble_text(one) or None} for one in found]
        told = {"folder": str(folder), "verified": False, "jobs": jobs}
        click.echo(json.dumps(told, ensure_ascii=False))
        return
    grouped = visits(found)
    for visit in grouped:
        for line in visit_lines(visit, unit):
            click.echo(one_line(line))
    if not found:
        click.echo(phrase("jobs.none", folder=str(folder)))
    else:
        files = " ".join(str(one.path) for one in grouped[0])
        click.echo(phrase("jobs.not-verified"))
        for text in next_lines(f"verify {grouped[0][-1].path}", f"proof {files}"):
            click.echo(one_line(text))
