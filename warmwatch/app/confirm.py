"""Asks whether a band that was not given now is right: a wrong one the tool cannot notice."""

import click

from warmwatch.core.job import Job
from warmwatch.errors import UsageError
from warmwatch.words.events import band_text

QUESTION = "Is that what the service information of this vehicle says? Enter: yes; else: no"


def confirm_band(job: Job, *, given: bool, asked: bool) -> None:
    """Show the book's band and its source; ask, unless `given` says that it was confirmed.

    `asked`: there is somebody to ask. Raises UsageError when nobody confirms it.
    """
    source = job.band_source or "no source is written in the book"
    click.echo(f"{job.vehicle}: band {both_units(job)}, from: {source}", err=True)
    if given:
        return
    if not asked:
        raise UsageError(
            "The band comes from the book, and nobody can confirm it here: add --yes if it is "
            "right, or give the band, as in --band 80:90."
        )
    if click.prompt(QUESTION, default="", show_default=False, err=True).strip():
        raise UsageError(
            "The watch does not begin: give the right band, as in --band 80:90, or correct the "
            f'book, as in `warmwatch book set "{job.vehicle}" band=80:90`.'
        )


def both_units(job: Job) -> str:
    """Return the band in the unit of show, and in the other one behind it."""
    other = "C" if job.unit == "F" else "F"
    return f"{band_text(job.band, job.unit)} ({band_text(job.band, other)})"
