"""Puts lines on a terminal by rich: only those that changed, on the alternate screen."""

import atexit
import os
import shutil
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import TextIO

from rich.cells import set_cell_size
from rich.console import Console
from rich.control import Control
from rich.text import Text

from warmwatch.outputs.screen.glyphs import Glyphs, glyphs_for
from warmwatch.outputs.screen.layout import Line, Style
from warmwatch.outputs.screen.windows import stop_selecting

COLOURS: Mapping[Style, str] = {
    Style.PLAIN: "",
    Style.DIM: "dim",
    Style.STRONG: "bold",
    Style.CALM: "bold #ffffff on #1d3a52",
    Style.READY: "bold #000000 on #ffb300",
    Style.GOOD: "bold #000000 on #8df2ae",
    Style.ALARM: "bold #ffffff on #b00020",
    Style.CODE: "#000000 on #ffffff",
}
NO_COLOURS: Mapping[Style, str] = {
    **dict.fromkeys(COLOURS, ""),
    Style.DIM: "dim",
    Style.STRONG: "bold",
    Style.CALM: "reverse",
    Style.READY: "bold reverse",
    Style.GOOD: "bold reverse",
    Style.ALARM: "bold reverse",
}


class Painter:
    """Draws on `stream` between `open` and `close`; used by one thread at a time."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._console = Console(file=stream, force_terminal=True, highlight=False, markup=False)
        self.glyphs: Glyphs = glyphs_for(getattr(stream, "encoding", None))
        self.colourless = "NO_COLOR" in os.environ and os.environ["NO_COLOR"] != ""
        self._styles = NO_COLOURS if self.colourless else COLOURS
        self._drawn: list[Line] = []
        self._size = (0, 0)
        self._opened = False
        self._restore_selecting: Callable[[], None] | None = None

    def size(self) -> tuple[int, int]:
        """Return the window's width and height in cells."""
        try:
            width, height = os.get_terminal_size(self._stream.fileno())
        except (OSError, ValueError):  # no real terminal; COLUMNS and LINES say what it is like
            width, height = shutil.get_terminal_size()
        # Writing into the last column of a classic Windows console would scroll it.
        return width - (1 if self._console.legacy_windows else 0), height

    def open(self) -> None:
        """Take the alternate screen; it is given back even when the program ends badly.

        May be called again, as after `close`: then everything is drawn again.
        """
        if self._opened:
            return
        self._opened = True
        self._drawn, self._size = [], (0, 0)
        atexit.register(self.close)
        self._restore_selecting = stop_selecting()
        self._console.set_alt_screen(True)
        self._console.show_cursor(False)

    def close(self) -> None:
        """Give the terminal back as it was; may be called twice."""
        if not self._opened:
            return
        self._opened = False
        atexit.unregister(self.close)
        with suppress(OSError, ValueError):  # the terminal may have gone
            self._console.show_cursor(True)
            self._console.set_alt_screen(False)
        if self._restore_selecting is not None:
            self._restore_selecting()

    def paint(self, lines: list[Line], *, afresh: bool = False) -> None:
        """Draw `lines`; all of them when the window changed or `afresh`, else what changed."""
        size = self.size()
        resized = size != self._size or len(lines) != len(self._drawn)
        rows = range(len(lines))
        changed = [row for row in rows if afresh or resized or lines[row] != self._drawn[row]]
        self._size, self._drawn = size, list(lines)
        with self._console:
            if resized:
                self._console.control(Control.home(), Control.clear())
            self._put(lines, changed)

    def _put(self, lines: list[Line], rows: list[int]) -> None:
        width = self._size[0]
        for row in rows:
            text = Text(no_wrap=True, overflow="crop", end="")
            for piece, style in lines[row]:
                text.append(piece, self._styles[style])
            text.append(set_cell_size("", max(0, width - text.cell_len)))
            self._console.control(Control.move_to(0, row))
            self._console.print(text, end="", soft_wrap=True)
