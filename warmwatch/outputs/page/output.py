"""The output behind `watch --page`: passes views and signals to the phones, brings marks back."""

import queue
import time

from warmwatch.core.reading import MarkName
from warmwatch.outputs.base import Entry, Summary, View
from warmwatch.outputs.page.code import code_rows
from warmwatch.outputs.page.cues import Cues
from warmwatch.outputs.page.limits import is_loopback
from warmwatch.outputs.page.message import Shown
from warmwatch.outputs.page.rights import Right
from warmwatch.outputs.page.server import PageServer
from warmwatch.outputs.screen_glyphs import Glyphs
from warmwatch.outputs.screen_layout import Line, Style
from warmwatch.outputs.screen_story import Story
from warmwatch.outputs.sound import Sound

TRUST = "Unencrypted http: only in a network you trust. Who has the link can open the page."


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
        if not is_loopback(self._server.host):
            lines.append(TRUST)
        return lines

    def lines(self, width: int, height: int, glyphs: Glyphs, *, colour: bool) -> tuple[Line, ...]:
        """Return the links and the code for a screen; the code only where all of it fits."""
        link = self._server.link(self._server.site.rights.best)
        rows = code_rows(link, glyphs, dark_on_light=colour)
        words: list[Line] = [((link, Style.STRONG),), ((TRUST, Style.DIM),)]
        if rows and len(rows) + 1 <= height and len(rows[0]) <= width:
            style = Style.CODE if colour else Style.PLAIN
            margin = " " * ((width - len(rows[0])) // 2)
            drawn: list[Line] = [((margin, Style.PLAIN), (row, style)) for row in rows]
            return (words[0], *drawn, *words[1:])
        return tuple(words)
