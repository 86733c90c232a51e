"""Marks from the keyboard: one key a mark, a note is typed and ended with Enter.

The pure part turns characters into acts; the port reads the terminal on a thread of its own, so
that waiting for a key never holds up a reading.
"""

import os
import queue
import sys
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass

from warmwatch.core.reading import MarkName
from warmwatch.links.base import WAIT_S

KEYS: Mapping[str, MarkName] = {
    "o": MarkName.PLUG_OUT,
    "d": MarkName.DRIP,
    "i": MarkName.PLUG_IN,
    "t": MarkName.TOPPED_UP,
    "l": MarkName.LEVEL_SET,
    " ": MarkName.ACKNOWLEDGE,
}
NOTE_KEY = "n"
QUIT_KEY = "q"
HELP = "keys: o plug out, d drip, i plug in, t topped up, l level set, n note, space heard, q end"
MAX_NOTE = 500


@dataclass(frozen=True, slots=True)
class KeyAct:
    """What a key means: a mark with its note, or the end of the watch."""

    mark: MarkName | None
    note: str = ""
    quits: bool = False


class KeyReader:
    """Turns characters into acts; `typing` holds the note being typed, None when none is.

    >>> keys = KeyReader()
    >>> [keys.feed(char) for char in "nok\\r"][-1]
    KeyAct(mark=<MarkName.NOTE: 'note'>, note='ok', quits=False)
    """

    def __init__(self, keys: Mapping[str, MarkName] = KEYS) -> None:
        self._keys = keys
        self.typing: str | None = None

    def feed(self, char: str) -> KeyAct | None:
        """Take one character and return what it means, if anything."""
        if self.typing is not None:
            return self._type(char)
        char = char.lower()
        if char == NOTE_KEY:
            self.typing = ""
            return None
        if char == QUIT_KEY:
            return KeyAct(None, quits=True)
        mark = self._keys.get(char)
        return None if mark is None else KeyAct(mark)

    def _type(self, char: str) -> KeyAct | None:
        assert self.typing is not None
        if char in "\r\n":
            note, self.typing = self.typing.strip(), None
            return KeyAct(MarkName.NOTE, note) if note else None
        if char == "\x1b":
            self.typing = None
        elif char in "\x7f\b":
            self.typing = self.typing[:-1]
        elif char.isprintable() and len(self.typing) < MAX_NOTE:
            self.typing += char
        return None


class Keyboard:
    """Reads single keys from the terminal between `open` and `close`."""

    def __init__(self) -> None:
        self.pressed: queue.Queue[str] = queue.Queue(1000)
        self._stop = threading.Event()
        self._saved: object = None

    def open(self) -> None:
        """Take the terminal's keys one by one; Ctrl-C stays Ctrl-C."""
        if sys.platform != "win32":
            import termios
            import tty

            self._saved = termios.tcgetattr(sys.stdin)
            tty.setcbreak(sys.stdin)
        threading.Thread(target=self._run, name="keyboard", daemon=True).start()

    def close(self) -> None:
        """Give the terminal back as it was; may be called twice."""
        self._stop.set()
        if sys.platform != "win32" and self._saved is not None:
            import termios

            termios.tcsetattr(sys.stdin, termios.TCSADRAIN, self._saved)  # type: ignore[arg-type]
            self._saved = None

    def drain(self) -> str:
        """Return the characters pressed since the last call."""
        chars = []
        while True:
            try:
                chars.append(self.pressed.get_nowait())
            except queue.Empty:
                return "".join(chars)

    def _run(self) -> None:
        read = self._read_windows if sys.platform == "win32" else self._read_posix
        while not self._stop.is_set():
            for char in read():
                if not self.pressed.full():
                    self.pressed.put(char)

    def _read_posix(self) -> str:
        import select

        ready, _, _ = select.select([sys.stdin], [], [], WAIT_S)
        if not ready:
            return ""
        data = os.read(sys.stdin.fileno(), 1024)
        if not data:
            self._stop.set()
        return data.decode("utf-8", "ignore")

    def _read_windows(self) -> str:
        import msvcrt

        chars = []
        while msvcrt.kbhit():  # type: ignore[attr-defined,unused-ignore]
            chars.append(msvcrt.getwch())  # type: ignore[attr-defined,unused-ignore]
        if not chars:
            time.sleep(0.05)
        return "".join(chars)
