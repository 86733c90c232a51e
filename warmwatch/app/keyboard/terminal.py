"""Marks from the keyboard, or from any pedal that types a key.

One key is one mark, a note is typed and ended with Enter, and while something insists on being
heard any other key says that it was. The pure part turns keys into acts; the port reads the
terminal on a thread of its own, so that waiting for a key never holds up a reading.
"""

import codecs
import contextlib
import os
import queue
import sys
import threading
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from warmwatch.app.keyboard.keys import NAMES, Decoder, windows_key
from warmwatch.core.reading import MarkName, mark_of_note
from warmwatch.errors import UsageError
from warmwatch.links.base import WAIT_S
from warmwatch.outputs.foreground import in_foreground
from warmwatch.words.catalogue import mark_name, phrase

KEYS: Mapping[str, MarkName] = {
    "o": MarkName.PLUG_OUT,
    "s": MarkName.STREAM,
    "d": MarkName.DRIP,
    "x": MarkName.NO_DRIP,
    "i": MarkName.PLUG_IN,
    "t": MarkName.TOPPED_UP,
    "l": MarkName.LEVEL_SET,
    "k": MarkName.IN_PARK,
    "c": MarkName.SELECTOR_CYCLED,
    "v": MarkName.VEHICLE_LEVEL,
    "r": MarkName.RESTING,
    "u": MarkName.WITHDRAW,
    " ": MarkName.ACKNOWLEDGE,
}
NOTE_KEY = "n"
QUIT_KEY = "q"
PAGE_KEY = "p"
_SELDOM = (
    MarkName.IN_PARK,
    MarkName.SELECTOR_CYCLED,
    MarkName.VEHICLE_LEVEL,
    MarkName.RESTING,
)
"""Where the room for keys is scarce these give way: the list of conditions names them, too."""
MEASURED = MarkName.VEHICLE_LEVEL
"""Its key lets the figures be typed; without any it is the mechanic's word alone."""
MAX_NOTE = 500


@dataclass(frozen=True, slots=True)
class KeyAct:
    """What a key means: a mark with its note, or the end of the watch."""

    mark: MarkName | None
    note: str = ""
    quits: bool = False


def parse_keys(texts: Iterable[str]) -> dict[str, MarkName]:
    """Return the keys with `KEY=MARK` texts added, such as `f13=plug-out`; UsageError otherwise."""
    keys = dict(KEYS)
    marks = {str(mark): mark for mark in MarkName if mark is not MarkName.NOTE}
    for text in texts:
        # A key may itself be `=`, so the last one divides.
        name, equals, mark = text.rpartition("=")
        key = " " if name.lower() == "space" else name.lower()
        if not equals or mark not in marks:
            raise UsageError(
                f"--key {text}: write a key and a mark, as in f13=plug-out; "
                f"marks are {', '.join(marks)}."
            )
        if key in (NOTE_KEY, QUIT_KEY, PAGE_KEY):
            raise UsageError(f"--key {text}: the key {key} has a meaning already; take another.")
        if key not in NAMES and not (len(key) == 1 and key.isprintable()):
            raise UsageError(
                f"--key {text}: there is no key {name!r}; write one character, f1 to f24, "
                "or one of space, enter, tab, escape, up, down, page-up, page-down."
            )
        keys[key] = marks[mark]
    return keys


def key_words(keys: Mapping[str, MarkName], *, page: bool = False) -> tuple[str, ...]:
    """Return the keys with what each means, as short texts for a screen."""
    marks = [(key, mark_name(mark), mark in _SELDOM) for key, mark in keys.items()]
    often, seldom = (
        [
            f"{phrase('key.space') if key == ' ' else key} {words}"
            for key, words, rare in marks
            if rare is which
        ]
        for which in (False, True)
    )
    others = [(NOTE_KEY, "note"), *([(PAGE_KEY, "page")] if page else []), (QUIT_KEY, "end")]
    return (*often, *(f"{key} {phrase(f'key.{what}')}" for key, what in others), *seldom)


class KeyReader:
    """Turns keys into acts.

    `typing` holds the note being typed, None when none is; `asking` says that the end was asked
    for once; `panel` whether the page's address is to be shown.

    >>> keys = KeyReader()
    >>> [keys.feed(key) for key in ["n", "o", "k", "enter"]][-1]
    KeyAct(mark=<MarkName.NOTE: 'note'>, note='ok', quits=False)
    """

    def __init__(self, keys: Mapping[str, MarkName] = KEYS, *, panel: bool = False) -> None:
        self._keys = keys
        self._typed_mark = MarkName.NOTE
        self.typing: str | None = None
        self.asking = False
        self.panel = panel

    @property
    def prompt(self) -> str:
        """What is to be shown of an unfinished act; empty without one."""
        if self.typing is not None:
            return phrase(f"prompt.{self._typed_mark}", typed=self.typing)
        return phrase("prompt.quit") if self.asking else ""

    @property
    def marks(self) -> Mapping[MarkName, str]:
        """Which key sets a mark; of several the first."""
        return {mark: key for key, mark in reversed(list(self._keys.items()))}

    def feed(self, key: str, *, insists: bool = False, plug_out: bool = False) -> KeyAct | None:
        """Take one key and return what it means, if anything.

        While something insists, a key without a meaning of its own says that it was heard;
        nobody looks for the right key beside a running engine. For the same reason the end has to
        be asked for twice then, and while the plug is out.
        """
        if self.typing is not None:
            return self._type(key)
        asked, self.asking = self.asking, False
        heard = KeyAct(MarkName.ACKNOWLEDGE) if insists else None
        key = key.lower()
        if key == QUIT_KEY and (asked or not (insists or plug_out)):
            return KeyAct(None, quits=True)
        mark = self._keys.get(key)
        if mark in _SELDOM and heard is not None:
            return heard  # hit blindly it must not tell something of the vehicle
        if mark is not None:
            self.panel = False
            if mark is not MEASURED:
                return KeyAct(mark)
            self._ask(mark)
            return None
        self.panel = key == PAGE_KEY and not self.panel
        self.asking = key == QUIT_KEY
        if key == NOTE_KEY:
            self._ask(MarkName.NOTE)
        return heard

    def _ask(self, mark: MarkName) -> None:
        self._typed_mark, self.typing = mark, ""

    def _type(self, key: str) -> KeyAct | None:
        assert self.typing is not None
        if key == "enter":
            note, self.typing = self.typing.strip(), None
            if self._typed_mark is not MarkName.NOTE:
                return KeyAct(self._typed_mark, note)
            return KeyAct(*mark_of_note(note)) if note else None
        if key == "escape":
            self.typing = None
        elif key == "backspace":
            self.typing = self.typing[:-1]
        elif len(key) == 1 and key.isprintable() and len(self.typing) < MAX_NOTE:
            self.typing += key
        elif key in self._keys:
            # A pedal was pressed while a note stood open: the pedal is what counts.
            return KeyAct(self._keys[key])
        return None


class Keyboard:
    """Reads keys from the terminal between `open` and `close`; none is ever dropped."""

    def __init__(self, keys: Mapping[str, MarkName] = KEYS) -> None:
        self.keys = keys
        self._pressed: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._stop = threading.Event()
        self._saved: object = None
        self._single = False
        self._paused = False

    def open(self) -> None:
        """Take the terminal's keys one by one; Ctrl-C stays Ctrl-C."""
        if sys.platform != "win32":
            import termios

            self._saved = termios.tcgetattr(sys.stdin)
            self.resume()
        threading.Thread(target=self._run, name="keyboard", daemon=True).start()

    def pause(self) -> None:
        """Give the terminal back as it was, until `resume`."""
        self._paused, self._single = True, False
        if sys.platform != "win32" and self._saved is not None and in_foreground(sys.stdin):
            import termios

            with contextlib.suppress(termios.error):  # the terminal may have gone
                termios.tcsetattr(sys.stdin, termios.TCSADRAIN, self._saved)  # type: ignore[arg-type]

    def resume(self) -> None:
        """Take single keys again; in the background only when the terminal is ours again."""
        self._paused = False
        self._take_single_keys()

    def _take_single_keys(self) -> None:
        if sys.platform != "win32" and self._saved is not None and in_foreground(sys.stdin):
            import termios
            import tty

            with contextlib.suppress(termios.error):
                # TCSADRAIN keeps what was typed before; the default would throw it away.
                tty.setcbreak(sys.stdin, termios.TCSADRAIN)
            self._single = True

    def close(self) -> None:
        """Give the terminal back as it was and read no more; may be called twice."""
        self._stop.set()
        self.pause()
        self._saved = None

    def drain(self) -> list[str]:
        """Return the keys pressed since the last call."""
        keys = []
        while True:
            try:
                keys.append(self._pressed.get_nowait())
            except queue.Empty:
                return keys

    def _run(self) -> None:
        run = self._run_windows if sys.platform == "win32" else self._run_posix
        try:
            run()
        except OSError:
            return  # the terminal has gone; so has whoever pressed its keys

    def _run_posix(self) -> None:
        import select

        decoder = Decoder()
        characters = codecs.getincrementaldecoder("utf-8")("replace")
        while not self._stop.is_set():
            if not self._ours():
                time.sleep(WAIT_S)
                continue
            ready, _, _ = select.select([sys.stdin], [], [], WAIT_S)
            if not self._ours():
                continue
            data = os.read(sys.stdin.fileno(), 1024) if ready else b""
            if ready and not data:
                return
            for key in decoder.feed(characters.decode(data)):
                self._pressed.put(key)

    def _ours(self) -> bool:
        """Whether keys may be read: a program in the background would be stopped for it."""
        if self._saved is None:
            return True
        if self._paused or not in_foreground(sys.stdin):
            self._single = False
        elif not self._single:
            self._take_single_keys()
        return self._single

    def _run_windows(self) -> None:
        import msvcrt

        decoder = Decoder()
        while not self._stop.is_set():
            if not msvcrt.kbhit():  # type: ignore[attr-defined,unused-ignore]
                time.sleep(0.02)
                continue
            char = msvcrt.getwch()  # type: ignore[attr-defined,unused-ignore]
            # The letter à has the code of the prefix; no scan code waits behind it.
            if char in "\x00\xe0" and msvcrt.kbhit():  # type: ignore[attr-defined,unused-ignore]
                self._pressed.put(windows_key(msvcrt.getwch()))  # type: ignore[attr-defined,unused-ignore]
            else:
                for key in decoder.feed(char) or decoder.feed(""):
                    self._pressed.put(key)
