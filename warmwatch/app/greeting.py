"""What is said before a watch begins; an output that cannot take it does not end the watch."""

import contextlib
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from warmwatch.core.job import Job
from warmwatch.errors import printable
from warmwatch.links import Address
from warmwatch.outputs.screen.glyphs import glyphs_for
from warmwatch.outputs.stream import Sink
from warmwatch.recording.writer import Recorder
from warmwatch.words.events import band_text

if TYPE_CHECKING:
    from warmwatch.outputs.page.output import Page

CAUTIONS = (
    "Caution: fluid and metal in the band burn at a touch; keep clear of moving parts; run the "
    "engine in open air or with extraction; secure the vehicle against moving and falling. "
    "Service information comes first."
)


def say_first(lines: Sequence[str], sink: Sink) -> None:
    """Write the lines. A failure is told by the first thing that is to be shown after them."""
    with contextlib.suppress(OSError):
        for line in lines:
            sink.write(line + "\n")
        sink.flush()


def greeting(
    job: Job, address: Address, recorder: Recorder | None, *, keys: Sequence[str]
) -> list[str]:
    """Return what begins, where it is recorded, the cautions and what each key means."""
    return [
        printable(f"Watching {address} for {band_text(job.band, job.unit)}."),
        "Not recorded." if recorder is None else printable(f"Recording to {recorder.path}"),
        CAUTIONS,
        *([f"Keys: {', '.join(keys)}."] if keys else []),
    ]


def page_greeting(page: "Page", *, err: bool, with_code: bool) -> list[str]:
    """Return the links, and on a terminal without our screen the code for the phone's camera."""
    stream = sys.stderr if err else sys.stdout
    if not (with_code and stream.isatty()):
        return list(page.links())
    code = page.code(glyphs_for(stream.encoding), colour=True)
    return [*page.links(), *(click.style(row, fg="black", bg="bright_white") for row in code)]
