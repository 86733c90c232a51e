"""Asks that the cautions for holds against the brakes were read, before the watch begins.

Nothing here recommends the method; it is timed, warned about and recorded.
"""

import sys
import time
from collections.abc import Iterator, Mapping

import click

from warmwatch.analysis.methods.loading import declares_loading
from warmwatch.core.job import Job
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Item, Mark, MarkName
from warmwatch.errors import UsageError
from warmwatch.links.base import Link
from warmwatch.links.kinds import Kind
from warmwatch.words.cautions import loading_text, loosened_limits

WORD = "understood"


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
