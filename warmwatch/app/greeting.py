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
from warmwatch.words.catalogue import phrase
from warmwatch.words.events import band_text

if TYPE_CHECKING:
    from warmwatch.outputs.page.output import Page


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
    band = band_text(job.band, job.unit)
    return [
        printable(phrase("greeting.watching", address=str(address), band=band)),
        phrase("greeting.not-recorded")
        if recorder is None
        else printable(phrase("greeting.recording", path=str(recorder.path))),
        phrase("greeting.caution"),
        *([phrase("greeting.keys", keys=", ".join(keys))] if keys else []),
    ]


def page_greeting(page: "Page", *, err: bool, with_code: bool) -> list[str]:
    """Return the links, and on a terminal without our screen the code for the phone's camera."""
    stream = sys.stderr if err else sys.stdout
    if not (with_code and stream.isatty()):
        return list(page.links())
    code = page.code(glyphs_for(stream.encoding), colour=True)
    return [*page.links(), *(click.style(row, fg="black", bg="bright_white") for row in code)]
