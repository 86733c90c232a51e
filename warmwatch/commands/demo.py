"""`warmwatch demo`: the whole thing with an invented vehicle, in about twenty seconds."""

import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from warmwatch.app.session import Session
from warmwatch.app.wiring import exit_code, open_sound, tell
from warmwatch.book.band_text import parse_band
from warmwatch.commands.plot import draw_recording
from warmwatch.commands.watch import parse_pace
from warmwatch.core.events import Event
from warmwatch.core.job import Job
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark
from warmwatch.core.watch import Watch
from warmwatch.links.address import Address
from warmwatch.outputs.base import Entry, Output, Summary
from warmwatch.outputs.guard import Guarded
from warmwatch.outputs.plain import PlainLines
from warmwatch.recording.writer import create
from warmwatch.words.catalogue import phrase
from warmwatch.words.status import status_line
from warmwatch.words.view import View

if TYPE_CHECKING:
    from warmwatch.demo.link import DemoLink

FOLDER = Path("warmwatch-demo")
BAND = "80:90"


@click.command("demo")
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    default=FOLDER,
    show_default=True,
    help="Where the demo writes.",
)
@click.option("--method", default="", help="How the invented vehicle is warmed up.")
@click.option("--pace", metavar="N", help="Simulated seconds for each real one.")
@click.option("--quiet", is_flag=True, help="No sound.")
def command(folder: Path, method: str, pace: str | None, quiet: bool) -> int:
    """Watch an INVENTED vehicle warm up: no hardware, no files needed, about 20 seconds.

    It answers real requests on a virtual bus, through the same code that reads a vehicle. Every
    number is invented. Leaves a recording and a picture in FOLDER.
    """
    from warmwatch.demo.link import open_address

    address = Address("demo", "", {"method": method} if method else {})
    link = open_address(address, parse_pace(pace))
    job = Job(parse_band(BAND), vehicle="invented vehicle", method=method, poll_s=link.poll_s)
    job = replace(job, band_source="invented for the demo")
    recorder = create(folder, job, str(address), link.describe(), time.time())
    click.echo("An invented vehicle warms up: no number here was measured.")
    click.echo(phrase("greeting.caution"))
    shown: list[Output] = [Progress(job, link), *([] if quiet else [open_sound(speak=False)])]
    outputs = [Guarded(output, tell) for output in shown]
    session = Session(link, Watch(job), outputs, address=str(address), recorder=recorder)
    code = exit_code(session.run(), outputs)
    picture = recorder.path.with_suffix(".png")
    draw_recording(recorder.path, picture)
    _name_next(recorder.path, picture)
    return code


class Progress:
    """Events as lines, and below them how far the demo is; only on a terminal does it move."""

    def __init__(self, job: Job, link: "DemoLink") -> None:
        self._lines = PlainLines(sys.stdout, sys.stderr, job)
        self._link = link
        self._moving = sys.stdout.isatty()

    def take(self, entry: Entry) -> None:
        if isinstance(entry, Event | Mark | Notice):
            self._clear()
            self._lines.take(entry)

    def show(self, view: View) -> None:
        if not self._moving:
            return
        done = round(self._link.progress * 20)
        line = f"[{'#' * done}{'.' * (20 - done)}]  {status_line(view)}"
        sys.stdout.write(f"\r\x1b[K{line[: _width()]}")
        sys.stdout.flush()

    def close(self, summary: Summary) -> None:
        self._clear()
        self._lines.close(summary)

    def _clear(self) -> None:
        if self._moving:
            sys.stdout.write("\r\x1b[K")


def _width() -> int:
    import shutil

    return shutil.get_terminal_size().columns - 1


def _name_next(recording: Path, picture: Path) -> None:
    click.echo(f"Picture:   {picture}")
    click.echo("Try next:")
    for words in (
        f"warmwatch watch {recording} --pace 60",
        f"warmwatch plot {recording} --unit F -o plot-in-f.png",
        "warmwatch tones",
        "warmwatch watch FILE.csv --band 80:90 --column elapsed_s=NAME --column fluid_c=NAME",
    ):
        click.echo(f"  {words}")
