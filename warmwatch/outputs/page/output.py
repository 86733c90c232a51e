"""The output behind `watch --page`: passes views and signals to the phones, brings marks back."""

import queue
import time
from textwrap import wrap

from warmwatch.core.reading import Mark, MarkName
from warmwatch.outputs.base import Entry, Summary
from warmwatch.outputs.page.code import code_rows
from warmwatch.outputs.page.cues import Cues
from warmwatch.outputs.page.limits import is_loopback
from warmwatch.outputs.page.marklog import Clash, MarkLog
from warmwatch.outputs.page.message import Shown
from warmwatch.outputs.page.orders import MarkSet
from warmwatch.outputs.page.rights import Right
from warmwatch.outputs.page.server import PageServer
from warmwatch.outputs.page.understood import understood
from warmwatch.outputs.screen.glyphs import Glyphs
from warmwatch.outputs.screen.history import HistoryTracker
from warmwatch.outputs.screen.layout import Line, Style
from warmwatch.outputs.sound.output import Sound
from warmwatch.words.catalogue import phrase
from warmwatch.words.view import View


class Page:
    """An output that serves the page; the server has to be started before.

    With `alone` the server ends with the watch; else it goes on for the visit.
    """

    def __init__(self, server: PageServer, unit: str, *, alone: bool = True) -> None:
        self._server = server
        self._alone = alone
        self._history = HistoryTracker(unit)
        self._cues = Cues()
        self._sound = Sound(self._cues)
        self._log = MarkLog()
        self._clash = Clash()
        self._view: View | None = None
        server.site.understand = self._understand

    @property
    def clients(self) -> int:
        """How many pages are connected now."""
        return self._server.clients

    def take(self, entry: Entry) -> None:
        self._cues.now_s = time.monotonic()
        self._history.take(entry)
        self._sound.take(entry)
        if isinstance(entry, Mark):
            self._log.take(entry)

    def show(self, view: View) -> None:
        self._view = view
        self._sound.show(view)
        self._send(view, ended=False)

    def close(self, summary: Summary) -> None:
        self._cues.close()
        self._send(summary.view, ended=True)
        if self._alone:
            self._server.stop()

    def stop(self) -> None:
        """End the serving; may be called twice."""
        self._server.stop()

    def _send(self, view: View, *, ended: bool) -> None:
        self._cues.now_s = now_s = time.monotonic()
        self._server.show(
            Shown(
                view,
                self._history.history(),
                now_s,
                self._cues.cues(),
                self._cues.repeats(),
                self._log.lines(),
                self._clash.text(now_s),
                ended,
            )
        )

    def _understand(self, mark: MarkSet) -> str:
        """Say in words what a mark would mean; on the server's thread, of the newest view."""
        return "" if self._view is None else understood(mark.name, mark.note, self._view)

    def drain(self) -> list[tuple[MarkName, str]]:
        """Return what the phones marked since the last call."""
        found: list[tuple[MarkName, str]] = []
        while True:
            try:
                mark = self._server.site.marks.get_nowait()
            except queue.Empty:
                return found
            self._clash.take(mark, time.monotonic())
            found.append((mark.name, mark.note))

    def links(self) -> list[str]:
        """Return the page's links as lines, the furthest right first."""
        given = list(reversed(self._server.site.rights.given))
        others = len(given) > 1
        return [*(self._link_line(right, others=others) for right in given), self._reach()]

    def _link_line(self, right: Right, *, others: bool) -> str:
        code = "watch-only" if right is Right.WATCH and others else str(right)
        return phrase("page.link", what=phrase(f"page.{code}"), link=self._server.link(right))

    def code(self, glyphs: Glyphs, *, colour: bool) -> list[str]:
        """Return the code of the first link, as `code_rows` does."""
        link = self._server.link(self._server.site.rights.best)
        return code_rows(link, glyphs, dark_on_light=colour)

    def _reach(self) -> str:
        return phrase("page.here-only" if is_loopback(self._server.host) else "page.trust")

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
