"""Puts a session together from what the command line options: recording, outputs, keyboard."""

import sys
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from warmwatch.app.awake import kept_awake
from warmwatch.app.greeting import greeting, page_greeting, say_first
from warmwatch.app.job_control import JobControl
from warmwatch.app.keeping import KeptLink
from warmwatch.app.keyboard.terminal import KEYS, Keyboard, key_words
from warmwatch.app.session import Session, Until
from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.forecast.prior import Prior
from warmwatch.core.job import Job
from warmwatch.core.reading import Mark, MarkName
from warmwatch.core.watch import Watch
from warmwatch.links import Address, Link
from warmwatch.outputs.base import Output, Summary
from warmwatch.outputs.foreground import in_foreground
from warmwatch.outputs.guard import Guarded
from warmwatch.outputs.hook import Hook, HookOptions
from warmwatch.outputs.jsonlines import JsonLines
from warmwatch.outputs.own_thread import OwnThread
from warmwatch.outputs.plain import PlainLines
from warmwatch.outputs.screen.output import Screen, can_show
from warmwatch.outputs.stream import Sink, own_stream
from warmwatch.recording.privacy import shared_address
from warmwatch.recording.seal.checkpoint import Signer
from warmwatch.recording.writer import Recorder, create

if TYPE_CHECKING:
    from warmwatch.outputs.page.output import Page
    from warmwatch.outputs.page.server import PageServer
    from warmwatch.outputs.sound.output import Sound

INTERRUPTED = 130


@dataclass(frozen=True, slots=True)
class PageOptions:
    """How the page is to be served.

    `marks` and `run` None leave it to the address: only on this machine. `run` is for a visit.
    """

    host: str | None = None
    port: int | None = None
    marks: bool | None = None
    run: bool | None = None


@dataclass(frozen=True, slots=True)
class WatchOptions:
    """How a watch is to run; `folder` is None for no recording.

    `origins` says of the job's values where each was taken from, for the recording. `kept` is the
    link whose traffic is kept, if any. The `signer` signs how far the recording is.
    """

    folder: Path | None
    until: Until
    as_json: bool = False
    sound: bool = True
    speak: bool = False
    plain: bool = False
    keys: Mapping[str, MarkName] = field(default_factory=lambda: KEYS)
    page: PageOptions | None = None
    hooks: tuple[HookOptions, ...] = ()
    prior: Prior | None = None
    origins: Mapping[str, str] = field(default_factory=dict)
    visit: str = ""
    kept: KeptLink | None = None
    signer: Signer | None = None


def run_watch(link: Link, address: Address, job: Job, options: WatchOptions) -> int:
    """Run one watch and return the exit code."""
    page = (
        None
        if options.page is None
        else open_page(options.page, job.unit, speak=options.speak, keys=options.keys)
    )
    try:
        return run_with(link, address, job, options, page)[0]
    finally:
        if page is not None:
            page.stop()


def run_with(
    link: Link,
    address: Address,
    job: Job,
    options: WatchOptions,
    page: "Page | None",
    ended_by: Callable[[], str] = str,
) -> tuple[int, Summary]:
    """Run one watch with a page that is served already; return the exit code and how it ended.

    `ended_by` is asked often, and ends the watch by returning by what.
    """
    if job.poll_s is None:
        job = replace(job, poll_s=link.poll_s)
    shown: Output | None = None
    try:
        recorder = _recorder(link, address, job, options)
        if options.kept is not None and recorder is not None:
            options.kept.begin(recorder.path)
        keyboard = (
            Keyboard(options.keys) if in_foreground(sys.stdin) and address.rest != "-" else None
        )
        out, errors = own_stream(sys.stdout), own_stream(sys.stderr)
        _greet(job, address, recorder, page, options, keyboard, out, errors)
        shown = _shown(options, job, keyboard, page, out, errors)
        first, say = _guarded(shown, errors)
        others = [Guarded(output, say) for output in _others(options, say, page)]
        outputs: list[Guarded | OwnThread] = [first, *others]
        if isinstance(shown, Screen) and options.sound:
            shown.audible = lambda: audible(others)
        session = Session(
            link,
            Watch(job, Forecaster(options.prior)),
            outputs,
            address=shared_address(str(address)),
            recorder=recorder,
            keyboard=keyboard,
            until=options.until,
            marks=tuple if page is None else lambda: _page_marks(page, link),
            panel=page is not None,
            apart=first if isinstance(first, OwnThread) else None,
            ended_by=ended_by,
            parting=tuple if options.kept is None else options.kept.parting,
        )
        held = [keyboard, shown if isinstance(shown, Screen) else None]
        real = not (link.replay or address.about_kind.invented)
        awake = kept_awake(say) if real else nullcontext()
        with JobControl(*(holder for holder in held if holder is not None)), awake:
            summary = session.run()
            return exit_code(summary, outputs), summary
    finally:
        # Whatever failed must be told on the terminal as it was.
        if isinstance(shown, Screen):
            shown.stop()


def _page_marks(page: "Page", link: Link) -> list[Mark]:
    utc_s = None if link.replay else time.time()
    return [Mark(link.elapsed_s(), name, note, utc_s) for name, note in page.drain()]


def exit_code(summary: Summary, outputs: Sequence[Guarded | OwnThread]) -> int:
    """Return 130 after Ctrl-C, 1 when the recording or the first output was lost, else 0."""
    if summary.stopped_by == "interrupt":
        return INTERRUPTED
    return 1 if summary.view.recording_trouble or outputs[0].failed else 0


def open_sound(*, speak: bool, say: Callable[[str], None] | None = None) -> "Sound":
    """Return the output that sounds; says what it sounds by, and when it cannot."""
    from warmwatch.outputs.sound.output import Sound
    from warmwatch.outputs.sound.player import TonePlayer
    from warmwatch.outputs.sound.voice import find_voice

    say = say or tell
    voice = find_voice() if speak else None
    if speak and voice is None:
        say("no voice is installed: only the tones are played.")
    player = TonePlayer(voice=voice, notice=say)
    say(player.describe())
    return Sound(player)


def audible(outputs: Iterable[Guarded]) -> bool:
    """Whether one of the outputs sounds, and can still be heard."""
    from warmwatch.outputs.sound.output import Sound

    working = (guarded.output for guarded in outputs)
    return any(isinstance(output, Sound) and output.audible for output in working)


def open_page(wish: PageOptions, unit: str, *, speak: bool, keys: Mapping[str, MarkName]) -> "Page":
    """Serve the page and return its output; UsageError when it cannot be served."""
    from warmwatch.outputs.page.output import Page

    return Page(open_server(wish, visit=False, speak=speak, keys=keys), unit)


def open_server(
    wish: PageOptions, *, visit: bool, speak: bool, keys: Mapping[str, MarkName]
) -> "PageServer":
    """Serve the page and return its server; UsageError when it cannot be served.

    Only for a `visit` is there a right to run it.
    """
    from warmwatch.outputs.page.address import page_host
    from warmwatch.outputs.page.limits import is_loopback
    from warmwatch.outputs.page.rights import Rights
    from warmwatch.outputs.page.server import PageServer

    host = page_host(wish.host)
    here = is_loopback(host)
    marks = here if wish.marks is None else wish.marks
    run = visit and (here if wish.run is None else wish.run)
    server = PageServer(host, wish.port, Rights(marks=marks, run=run), speak=speak, keys=keys)
    server.start()
    return server


def tell(text: str) -> None:
    """Say something to the person, apart from the results."""
    click.echo(f"warmwatch: {text}", err=True)


def _recorder(link: Link, address: Address, job: Job, options: WatchOptions) -> Recorder | None:
    if options.folder is None:
        return None
    return create(
        options.folder,
        job,
        str(address),
        link.describe(),
        time.time(),
        options.prior,
        visit=options.visit,
        origins=options.origins,
        signer=options.signer,
        helper=True,
    )


def _shown(
    options: WatchOptions,
    job: Job,
    keyboard: Keyboard | None,
    page: "Page | None",
    out: Sink,
    errors: Sink,
) -> Output:
    if options.as_json:
        return JsonLines(out, lambda text: say_first([f"warmwatch: {text}"], errors))
    if options.plain or not can_show(sys.stdout):
        return PlainLines(out, errors, job)
    return Screen(sys.stdout, job.unit, keys=_key_words(keyboard, page), panel=page)


def _key_words(keyboard: Keyboard | None, page: "Page | None") -> tuple[str, ...]:
    return () if keyboard is None else key_words(keyboard.keys, page=page is not None)


def _guarded(shown: Output, errors: Sink) -> tuple[Guarded | OwnThread, Callable[[str], None]]:
    """Return the first output so that it stops nobody, and how to tell something beside it."""
    if isinstance(shown, Screen):  # it draws on a thread of its own
        return Guarded(shown, shown.tell), shown.tell

    def tell_apart(text: str) -> None:
        say_first([f"warmwatch: {text}"], errors)

    apart = OwnThread(Guarded(shown, tell_apart))
    # A hook or a tone may fail when the lines have ended already.
    return apart, lambda text: tell_apart(text) if apart.ended else apart.say(text)


def _others(options: WatchOptions, say: Callable[[str], None], page: "Page | None") -> list[Output]:
    sound = [open_sound(speak=options.speak, say=say)] if options.sound else []
    served = [] if page is None else [page]
    return [*sound, *served, *(Hook(wish, say) for wish in options.hooks)]


def _greet(
    job: Job,
    address: Address,
    recorder: Recorder | None,
    page: "Page | None",
    options: WatchOptions,
    keyboard: Keyboard | None,
    out: Sink,
    errors: Sink,
) -> None:
    """Say what begins; with JSON on stdout only the page's link is said, on stderr."""
    if page is not None:
        with_code = options.as_json or options.plain
        lines = page_greeting(page, err=options.as_json, with_code=with_code)
        say_first(lines, errors if options.as_json else out)
    if not options.as_json:
        say_first(greeting(job, address, recorder, keys=_key_words(keyboard, None)), out)
