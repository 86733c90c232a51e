"""The terminal screen of `watch`: drawn on a thread of its own, so that a terminal that does not
take what is written (a selection in a console, a slow line) never holds up the watch.
"""

import os
import queue
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from typing import Protocol, TextIO

from warmwatch.core.notice import Notice
from warmwatch.outputs.base import Entry, Summary
from warmwatch.outputs.foreground import in_foreground
from warmwatch.outputs.plain import summary_lines
from warmwatch.outputs.screen.board import Board, board, stalled
from warmwatch.outputs.screen.glyphs import Glyphs
from warmwatch.outputs.screen.history import History, HistoryTracker
from warmwatch.outputs.screen.layout import Frame, Line, render
from warmwatch.outputs.screen.painter import Painter
from warmwatch.words.view import View

BEAT_S = 0.5
STALLED_S = 4.0
"""When nothing was shown for so long the watch itself is stuck, and what stands there is old."""
TURN_S = 1.0
"""So long is waited for a drawing that goes on; a terminal that hangs never ends its own."""
AFRESH_S = 5.0
"""Everything is drawn again so often: something else may have written over it."""


class Panel(Protocol):
    """What the page offers to the screen."""

    @property
    def clients(self) -> int:
        """How many pages are connected now."""

    def lines(self, width: int, height: int, glyphs: Glyphs, *, colour: bool) -> tuple[Line, ...]:
        """Return the page's address as text and code."""


@dataclass(frozen=True, slots=True)
class _Shown:
    view: View
    history: History
    at_s: float


def can_show(stream: TextIO) -> bool:
    """Whether `stream` is a terminal that a screen can be drawn on, and ours to draw on."""
    return in_foreground(stream) and os.environ.get("TERM", "") not in ("dumb", "unknown")


class Screen:
    """Shows the newest view; what came between two drawings is skipped."""

    def __init__(
        self, stream: TextIO, unit: str, *, keys: Sequence[str] = (), panel: Panel | None = None
    ) -> None:
        self._stream = stream
        self._history = HistoryTracker(unit)
        self._told: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._keys = tuple(keys)
        self._panel = panel
        self._first_panel = panel is not None
        self._painter = Painter(stream)
        self._slot: _Shown | None = None
        self._changed = threading.Event()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._failure = ""
        self.audible: Callable[[], bool] = lambda: True
        """Asked at each drawing; as long as it is not so the screen says NO SOUND."""
        self._paused = self._closed = False
        self._lock = threading.RLock()

    def take(self, entry: Entry) -> None:
        self._history.take(entry)

    def tell(self, text: str) -> None:
        """Put a sentence among what happened; for any thread.

        Once the screen has failed or is closed, the sentence goes to standard error instead.
        """
        if self._failure or self._closed:
            with suppress(OSError, ValueError):  # the terminal may have gone
                print(f"warmwatch: {text}", file=sys.stderr, flush=True)
        else:
            self._told.put(text)

    def show(self, view: View) -> None:
        if self._failure:
            raise OSError(self._failure)
        while not self._told.empty():
            self._history.take(Notice(self._told.get_nowait()))
        self._slot = _Shown(view, self._history.history(), time.monotonic())
        self._changed.set()
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="screen", daemon=True)
            self._thread.start()

    def close(self, summary: Summary) -> None:
        self.stop()
        self._closed = True  # what others say from here on, at their own end, has no list
        while not self._told.empty():
            self._stream.write(self._told.get_nowait() + "\n")
        for line in summary_lines(summary):
            self._stream.write(line + "\n")
        self._stream.flush()

    def stop(self) -> None:
        """End the drawing and give the terminal back; may be called twice."""
        self._stop.set()
        self._changed.set()
        if self._thread is not None:
            self._thread.join(timeout=2.0)
        with self._turn():
            self._painter.close()

    def pause(self) -> None:
        """Give the terminal back for as long as the program stands still."""
        with self._turn():
            self._paused = True
            self._painter.close()

    def resume(self) -> None:
        """Draw again, soon, or as soon as the terminal is ours."""
        self._paused = False  # nothing else: a signal may have come in the middle of `show`

    @contextmanager
    def _turn(self) -> Iterator[None]:
        """Let one thread at a time write; a terminal that hangs is not waited for."""
        mine = self._lock.acquire(timeout=TURN_S)
        try:
            yield
        finally:
            if mine:
                self._lock.release()

    # Everything below runs on the screen's own thread.

    def _run(self) -> None:
        try:
            afresh_s = time.monotonic()
            while not self._stop.is_set():
                afresh = time.monotonic() - afresh_s >= AFRESH_S
                if afresh:
                    afresh_s = time.monotonic()
                with self._lock:
                    if self._takes_terminal():
                        self._draw(afresh=afresh)
                self._changed.wait(BEAT_S)
                self._changed.clear()
        except Exception as error:  # whatever it is: a screen that stands still must not stay
            self._failure = f"{type(error).__name__}: {error}"  # told by the next `show`
            with self._turn():
                self._painter.close()

    def _takes_terminal(self) -> bool:
        """Whether there is a terminal to draw on; in the background it belongs to another."""
        if self._stop.is_set():
            return False
        if self._paused or not in_foreground(self._stream):
            self._painter.close()
            return False
        self._painter.open()
        return True

    def _draw(self, *, afresh: bool) -> None:
        shown = self._slot
        if shown is None:
            return
        now_s = time.monotonic()
        seen = replace(board(shown.view, shown.history), sound_ok=self.audible())
        if now_s - shown.at_s > STALLED_S:
            seen = stalled(seen, now_s - shown.at_s)
        self._painter.paint(self.lines(shown.view, seen, now_s), afresh=afresh)

    def lines(self, view: View, seen: Board, now_s: float) -> list[Line]:
        """Return the lines for the window as it is now."""
        width, height = self._painter.size()
        glyphs, panel = self._painter.glyphs, self._panel
        self._first_panel = self._first_panel and view.panel
        # The address stands there from the start, until a phone has it or a key is pressed.
        connected = panel is not None and self._first_panel and panel.clients > 0
        wanted = view.panel and not connected
        colour = not self._painter.colourless
        return render(
            seen,
            Frame(
                width=width,
                height=height,
                glyphs=glyphs,
                band=view.job.band,
                unit=view.job.unit,
                keys=self._keys,
                prompt=view.prompt,
                panel=panel.lines(width, height - 2, glyphs, colour=colour)
                if panel is not None and wanted
                else (),
                beat=int(now_s / BEAT_S) % 2 == 1,
            ),
        )
