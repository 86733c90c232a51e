"""Serves visits to the phone, one after the other, until the laptop is told to end."""

import queue
import signal
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

from warmwatch.analysis.learned import load_prior
from warmwatch.analysis.methods.loading import declares_loading
from warmwatch.app.greeting import page_greeting, say_first
from warmwatch.app.keyboard.terminal import KEYS
from warmwatch.app.same_visit import going_on, recordings_of
from warmwatch.app.session import Until
from warmwatch.app.signing import Seal
from warmwatch.app.visit.desk import Desk, Stage
from warmwatch.app.visit.papers import Papers
from warmwatch.app.wiring import INTERRUPTED, PageOptions, WatchOptions, open_server, run_with
from warmwatch.core.forecast.prior import Prior
from warmwatch.core.job import Job
from warmwatch.core.reading import MarkName
from warmwatch.errors import WarmwatchError
from warmwatch.links.base import open_link
from warmwatch.outputs.page.orders import MarkSet
from warmwatch.outputs.page.output import Page
from warmwatch.outputs.stream import Sink, own_stream
from warmwatch.recording.sidecar import read_sidecar, sidecar_visit

if TYPE_CHECKING:
    from warmwatch.outputs.page.server import PageServer

TELL_EVERY_S = 0.5
UNDERSTOOD = "cautions for holds against the brakes shown on the page, and start pressed"
ENDING = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")


@dataclass(frozen=True, slots=True)
class VisitOptions:
    """How to serve visits; `pace` is for recorded links.

    With a `seal`, recordings are signed while they run, and proofs are signed.
    """

    page: PageOptions
    folder: Path
    paper: str = "a4"
    sound: bool = True
    speak: bool = False
    plain: bool = False
    pace: float | None = 1.0
    seal: Seal | None = None


def serve_visit(wish: VisitOptions) -> int:
    """Serve the page before, during and after watches; return the exit code when it is ended."""
    server = open_server(wish.page, visit=True, speak=wish.speak, keys=KEYS)
    try:
        return _Serving(wish, server, Desk()).run()
    finally:
        server.stop()


class _Serving:
    def __init__(self, wish: VisitOptions, server: "PageServer", desk: Desk) -> None:
        self._wish, self._server, self._desk = wish, server, desk
        self._told_s = 0.0
        self._ended = False

    def run(self) -> int:
        say_first(page_greeting(Page(self._server, "C"), err=False, with_code=True), _out())
        numbers = [getattr(signal, name) for name in ENDING if hasattr(signal, name)]
        before = {number: signal.signal(number, self._interrupt) for number in numbers}
        try:
            self._desk.look()
            while not self._ended:
                self._wait()
                if self._desk.start_asked:
                    self._watch()
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)
        return INTERRUPTED

    def _interrupt(self, number: int, frame: FrameType | None) -> None:
        self._ended = True

    def _wait(self) -> None:
        """Take what the phones order, or wait for it for a moment."""
        try:
            self._desk.take(self._server.site.orders.get(timeout=0.1))
            self._tell()
        except queue.Empty:
            if time.monotonic() - self._told_s >= TELL_EVERY_S:
                self._tell()

    def _tell(self) -> None:
        self._told_s = time.monotonic()
        self._server.show_visit(self._desk.messages())

    def _watch(self) -> None:
        desk = self._desk
        desk.go(Stage.OPENING)
        self._tell()
        try:
            job, address = desk.job()
            job = going_on(job, self._wish.folder, desk.visit)
            link = open_link(address, pace=self._wish.pace)
            page = Page(self._server, job.unit, alone=False)
            page.drain()  # what was marked before this watch is not one of its marks
            if declares_loading(job.method) and not address.about_kind.invented:
                self._server.site.marks.put_nowait(MarkSet(MarkName.NOTE, UNDERSTOOD))
            desk.go(Stage.WATCH)
            self._tell()
            options = WatchOptions(
                self._wish.folder,
                Until(),
                sound=self._wish.sound,
                speak=self._wish.speak,
                plain=self._wish.plain,
                prior=self._prior(job),
                origins=desk.origins(),
                visit=desk.visit,
                signer=None if self._wish.seal is None else self._wish.seal.key,
            )
            _, summary = run_with(link, address, job, options, page, self._ended_by)
        except (WarmwatchError, OSError) as error:
            desk.go(Stage.PREPARE, str(error))
            self._tell()
            return
        recording = summary.view.recording
        self._ended |= summary.stopped_by == "interrupt"
        kept = [Path(recording)] if recording else []
        if kept:
            desk.visit = _visit_of(kept[0]) or desk.visit
        kept = recordings_of(self._wish.folder, desk.visit) or kept
        desk.papers = Papers(kept, self._wish.paper, self._server.site.offer, self._wish.seal)
        desk.go(Stage.DONE)
        self._server.clear()
        self._tell()

    def _prior(self, job: Job) -> Prior | None:
        """Return what earlier recordings of this vehicle teach, None where there are none."""
        if not job.vehicle or not self._wish.folder.is_dir():
            return None
        try:
            prior = load_prior(self._wish.folder, vehicle=job.vehicle).prior
        except (WarmwatchError, OSError, ValueError):
            return None  # the forecast goes without
        return prior if prior.runs else None

    def _ended_by(self) -> str:
        """Take orders while a watch runs; return by what it is to end."""
        while not self._server.site.orders.empty():
            self._desk.take(self._server.site.orders.get_nowait())
        if time.monotonic() - self._told_s >= TELL_EVERY_S:
            self._tell()
        return "page" if self._desk.stop_asked else ""


def _visit_of(recording: Path) -> str:
    try:
        return sidecar_visit(read_sidecar(recording))
    except WarmwatchError:
        return ""  # what comes next is then a visit of its own


def _out() -> Sink:
    return own_stream(sys.stdout)
