"""The output behind `watch --page`: passes views and signals to the phones, brings marks back."""

import queue
import time
from textwrap import wrap

from warmwatch.core.reading import MarkName
from warmwatch.outputs.base import Entry, Summary
from warmwatch.outputs.page.code import code_rows
from warmwatch.outputs.page.cues import Cues
from warmwatch.outputs.page.limits import is_loopback
from warmwatch.outputs.page.message import Shown
from warmwatch.outputs.page.rights import Right
from warmwatch.outputs.page.server import PageServer
from warmwatch.outputs.screen.glyphs import Glyphs
from warmwatch.outputs.screen.layout import Line, Style
from warmwatch.outputs.screen.story import Story
from warmwatch.outputs.sound.output import Sound
from warmwatch.words.view import View

TRUST = "Unencrypted http: only in a network you trust. Who has the link can open the page."
HERE_ONLY = "Only this machine can open it; for a phone start with --page-host private."


class Page:
    """An output that serves the page; the server has to be started before."""

    def __init__(self, server: PageServer, unit: str) -> None:
        self._server = server
        self._story = Story(unit)
        self._cues = Cues()
        self._sound = Sound(self._cues)

    @property
    def clients(self) -> int:
        """How many pages are connected now."""
        return self._server.clients

    def take(self, entry: Entry) -> None:
        self._cues.now_s = time.monotonic()
        self._story.take(entry)
        self._sound.take(entry)

    def show(self, view: View) -> None:
        self._sound.show(view)
        self._send(view, ended=False)

    def close(self, summary: Summary) -> None:
        self._cues.hush()
        self._send(summary.view, ended=True)
        self._server.stop()

    def stop(self) -> None:
        """End the serving; may be called twice."""
        self._server.stop()

    def _send(self, view: View, *, ended: bool) -> None:
        self._cues.now_s = now_s = time.monotonic()
        cues, repeats = self._cues.cues(), self._cues.repeats()
        self._server.show(Shown(view, self._story.tale(), now_s, cues, repeats, ended))

    def drain(self) -> list[tuple[MarkName, str]]:
        """Return what the phones marked since the last call."""
        found = []
        while True:
            try:
                found.append(self._server.site.marks.get_nowait())
            except queue.Empty:
                return found

    def links(self) -> list[str]:
        """Return the page's links as lines, the furthest right first."""
        best = self._server.site.rights.best
        what = "watch and mark" if best is Right.MARK else "watch"
        lines = [f"Page to {what}: {self._server.link(best)}"]
        if best is Right.MARK:
            lines.append(f"Page to watch only: {self._server.link(Right.WATCH)}")
        return [*lines, self._reach()]

    def code(self, glyphs: Glyphs, *, colour: bool) -> list[str]:
        """Return the code of the first link, as `code_rows` does."""
        link = self._server.link(self._server.site.rights.best)
        return code_rows(link, glyphs, dark_on_light=colour)

    def _reach(self) -> str:
        return HERE_ONLY if is_loopback(self._server.host) else TRUST

    def lines(self, width: int, height: int, glyphs: Glyphs, *, colour: bool) -> tuple[Line, ...]:
        """Return link, words and code for a screen, as much of it as fits; no code in part."""
        rows = self.code(glyphs, colour=colour)
        address: Line = ((self._server.link(self._server.site.rights.best), Style.STRONG),)
        words: list[Line] = [((text, Style.PLAIN),) for text in wrap(self._reach(), width)]
        if not rows or len(rows[0]) > width:
            return (address, *words)
        margin = " " * ((width - len(rows[0])) // 2)
        style = Style.CODE if colour else Style.PLAIN
        drawn: list[Line] = [((margin, Style.PLAIN), (row, style)) for row in rows]
        choices = ([address, *words, *drawn], [address, *drawn], drawn, [address, *words])
        return tuple(next((lines for lines in choices if len(lines) <= height), choices[-1]))
