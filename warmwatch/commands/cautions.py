"""The cautions before a job that declares holds against the brakes, and their acknowledgement.

Nothing here recommends the method; it is timed, warned about and recorded.
"""

import sys
import time
from collections.abc import Iterator, Mapping

import click

from warmwatch.core.job import Job
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Item, Mark, MarkName
from warmwatch.errors import UsageError
from warmwatch.links.base import Link
from warmwatch.links.kinds import Kind
from warmwatch.words.events import temperature

LOADING_WORDS = ("load", "stall", "brake", "hold", "torque")
USUAL_HOLD_S, USUAL_REST_S = 5.0, 60.0
"""Common practice, no source: holds no longer than 5 s, then at least 60 s at idle."""
WORD = "understood"

NOT_ADVISED = (
    "warmwatch does not recommend holding an engine against the brakes: it times it, warns and "
    "records. Idling or a drive needs none of this."
)
CAUTIONS = (
    (
        "The vehicle can move: nobody in front of it or behind it, wheels chocked, parking brake "
        "and foot brake both on."
    ),
    "Never be under the vehicle meanwhile.",
    "Service information may forbid it: read it first; it comes before anything said here.",
    (
        "Heat is made faster than the sensor shows; the fluid at the converter is hotter than the "
        "reading."
    ),
    "Stop at once on slip, smell or an unusual noise.",
    "A running engine needs open air or extraction: carbon monoxide kills unnoticed.",
)


def declares_loading(method: str) -> bool:
    """Return whether a method's label speaks of holds against the brakes.

    >>> declares_loading("Loaded, 3 holds"), declares_loading("drive")
    (True, False)
    """
    return any(word in method.casefold() for word in LOADING_WORDS)


def loading_text(job: Job) -> str:
    """Return the cautions as they are shown, with the limits of the job."""
    fluid = temperature(job.fluid_ceiling_c, job.unit)
    coolant = temperature(job.coolant_ceiling_c, job.unit)
    times = (
        f"Let go by {job.hold_limit_s:g} s at the latest, then at least {job.rest_s:g} s at idle "
        "in neutral or park. Holds are timed only while engine speed and road speed are both read."
    )
    heat = f"Let it idle and cool at {fluid} of the fluid or {coolant} of the coolant."
    dangers = "\n".join(f"  - {line}" for line in (*CAUTIONS, times, heat))
    return f"CAUTION. The job declares the method {job.method!r}.\n{NOT_ADVISED}\n{dangers}"


def loosened_limits(job: Job) -> list[str]:
    """Return a sentence for each limit of the job that is looser than usual: never silently."""
    told = []
    if job.hold_limit_s > USUAL_HOLD_S:
        told.append(
            f"The job sets the hold limit to {job.hold_limit_s:g} s; common practice is "
            f"{USUAL_HOLD_S:g} s."
        )
    if job.rest_s < USUAL_REST_S:
        told.append(
            f"The job sets the rest between holds to {job.rest_s:g} s; common practice is "
            f"{USUAL_REST_S:g} s."
        )
    plain = Job(job.band)
    ceilings = (
        ("fluid", job.fluid_ceiling_c, plain.fluid_ceiling_c),
        ("coolant", job.coolant_ceiling_c, plain.coolant_ceiling_c),
    )
    told += [
        f"The job sets the ceiling of the {meant} to {temperature(set_c, job.unit)}; "
        f"{temperature(usual_c, job.unit)} is usual here."
        for meant, set_c, usual_c in ceilings
        if set_c > usual_c
    ]
    return told


def acknowledge_loading(job: Job, kind: Kind, *, given: bool) -> str:
    """Show the cautions where the job declares loading; return the note to record, or "".

    The person types the word, or `given` says that an option did. A replay warms
    nothing and an invented vehicle hurts nobody: there nothing has to be acknowledged.
    Raises UsageError when the cautions are not acknowledged.
    """
    for line in loosened_limits(job):
        click.echo(f"warmwatch: {line}", err=True)
    if kind.replay or not declares_loading(job.method):
        return ""
    click.echo(loading_text(job), err=True)
    if kind.invented:
        return ""
    if not given:
        _ask()
    return "cautions for holds against the brakes read and understood"


def _ask() -> None:
    if not sys.stdin.isatty():
        raise UsageError(
            "The method declares holds against the brakes and nobody can be asked: read the "
            "cautions above and add --cautions-understood, or declare another method."
        )
    answer = click.prompt(f"Type {WORD} to go on", default="", show_default=False, err=True)
    if answer.strip().casefold() != WORD:
        raise UsageError("The cautions were not acknowledged, so the watch does not begin.")


class Acknowledged:
    """A link that says first that the cautions were acknowledged, so that it is recorded."""

    def __init__(self, link: Link, note: str) -> None:
        self._link = link
        self._note = note

    @property
    def poll_s(self) -> float | None:
        """The usual time between readings, of the link itself."""
        return self._link.poll_s

    @property
    def replay(self) -> bool:
        """Whether the link replays; only one that does not is ever acknowledged."""
        return self._link.replay

    def elapsed_s(self) -> float:
        """The link's own clock."""
        return self._link.elapsed_s()

    def describe(self) -> Mapping[str, object]:
        """What the link is."""
        return self._link.describe()

    def items(self) -> Iterator[Item | Notice | None]:
        """Yield the acknowledgement, then all that the link brings."""
        now_s = self._link.elapsed_s()
        yield Mark(now_s, MarkName.ACKNOWLEDGE, self._note, time.time())
        yield from self._link.items()

    def close(self) -> None:
        """Close the link."""
        self._link.close()
