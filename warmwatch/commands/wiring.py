"""Puts a session together from what the command line wishes: recording, outputs, keyboard."""

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import click

from warmwatch.core.job import Job
from warmwatch.core.watch import Watch
from warmwatch.links import Address, Link
from warmwatch.links.keyboard import HELP, Keyboard
from warmwatch.outputs.base import Output, Summary
from warmwatch.outputs.guard import Guarded
from warmwatch.outputs.jsonlines import JsonLines
from warmwatch.outputs.plain import PlainLines
from warmwatch.outputs.words import band_text
from warmwatch.recording.writer import Recorder, create
from warmwatch.session import Session, Until

INTERRUPTED = 130
CAUTIONS = (
    "Caution: fluid and metal in the band burn at a touch; keep clear of moving parts; run the "
    "engine in open air or with extraction; secure the vehicle against moving and falling. "
    "Service information comes first."
)


@dataclass(frozen=True, slots=True)
class Wishes:
    """How a watch is to run; `folder` is None for no recording."""

    folder: Path | None
    until: Until
    as_json: bool = False
    sound: bool = True
    speak: bool = False


def run_watch(link: Link, address: Address, job: Job, wishes: Wishes) -> int:
    """Run one watch and return the exit code."""
    if job.poll_s is None:
        job = replace(job, poll_s=link.poll_s)
    recorder = _recorder(link, address, job, wishes.folder)
    keyboard = Keyboard() if sys.stdin.isatty() and address.rest != "-" else None
    if not wishes.as_json:
        _greet(job, address, recorder, keyboard)
    outputs = [Guarded(output, tell) for output in _outputs(job, wishes)]
    session = Session(
        link,
        Watch(job),
        outputs,
        address=str(address),
        recorder=recorder,
        keyboard=keyboard,
        until=wishes.until,
    )
    return exit_code(session.run(), outputs)


def exit_code(summary: Summary, outputs: Sequence[Guarded]) -> int:
    """Return 130 after Ctrl-C, 1 when the recording or the first output was lost, else 0."""
    if summary.stopped_by == "interrupt":
        return INTERRUPTED
    return 1 if summary.view.recording_trouble or outputs[0].failed else 0


def open_sound(*, speak: bool) -> Output:
    """Return the output that sounds; says what it sounds by, and when it cannot."""
    from warmwatch.outputs.sound import Sound
    from warmwatch.outputs.tone_player import TonePlayer
    from warmwatch.outputs.voice import find_voice

    voice = find_voice() if speak else None
    if speak and voice is None:
        tell("no voice is installed that could speak: the tones are played alone.")
    player = TonePlayer(voice=voice, notice=tell)
    tell(player.describe())
    return Sound(player)


def tell(text: str) -> None:
    """Say something to the person, apart from the results."""
    click.echo(f"warmwatch: {text}", err=True)


def _recorder(link: Link, address: Address, job: Job, folder: Path | None) -> Recorder | None:
    if folder is None:
        return None
    return create(folder, job, str(address), link.describe(), time.time())


def _outputs(job: Job, wishes: Wishes) -> list[Output]:
    shown: Output = (
        JsonLines(sys.stdout) if wishes.as_json else PlainLines(sys.stdout, sys.stderr, job)
    )
    return [shown, *([open_sound(speak=wishes.speak)] if wishes.sound else [])]


def _greet(
    job: Job, address: Address, recorder: Recorder | None, keyboard: Keyboard | None
) -> None:
    click.echo(f"Watching {address} for {band_text(job.band, job.unit)}.")
    where = "Not recorded." if recorder is None else f"Recording to {recorder.path}"
    click.echo(where)
    click.echo(CAUTIONS)
    if keyboard is not None:
        click.echo(HELP[0].upper() + HELP[1:] + ".")
