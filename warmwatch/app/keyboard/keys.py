"""What the characters of a terminal mean as keys.

Terminals send a function key as a sequence of characters: after ECMA-48 a control sequence
(`ESC [` ... final byte) or a single shift (`ESC O` and one byte); the Windows console sends a
prefix and a scan code. Pedals and presenters that "type a key" send the same.
"""

import re
from collections.abc import Mapping

ESCAPE = "\x1b"
LONGEST = 32
"""No key's sequence is longer; what is, is noise and is dropped as one unknown key."""

_SEQUENCE = re.compile(r"\x1b(?:\[\[[A-E]|\[(?!\[)[0-9;:?<=>]*[ -/]*[@-~]|O[0-9;]*[@-~])")
_BEGINNING = re.compile(r"\x1b(?:\[\[?|\[[0-9;:?<=>]*[ -/]*|O[0-9;]*)?")
_PARTS = re.compile(r"\x1b[\[O](\[?)([0-9]*)(?:;([0-9]+))?(?:[0-9;:]*)([~@-~])")

# The numbers of DEC terminals before `~`, and the letters of single shifts; as listed in the
# terminfo entries "vt220", "xterm" and "linux" (kf1 to kf20), and of the keyboard protocol that
# sends code points of the private use area (57376 is F13).
_BY_NUMBER = dict(
    zip(
        (11, 12, 13, 14, 15, 17, 18, 19, 20, 21, 23, 24, 25, 26, 28, 29, 31, 32, 33, 34),
        (f"f{number}" for number in range(1, 21)),
        strict=True,
    )
) | {1: "home", 2: "insert", 3: "delete", 4: "end", 5: "page-up", 6: "page-down"}
_BY_LETTER = {"P": "f1", "Q": "f2", "R": "f3", "S": "f4", "A": "up", "B": "down", "C": "right"}
_BY_LETTER |= {"D": "left", "H": "home", "F": "end", "M": "enter"}
_CONSOLE_LETTER = dict(zip("ABCDE", ("f1", "f2", "f3", "f4", "f5"), strict=True))
_PRIVATE_F13 = 57376
_SHIFT = 2

# The Windows console: prefix, then a scan code. Shift with F1 to F12 counts as F13 to F24, as it
# does in other terminals.
_WINDOWS: Mapping[str, str] = {
    **{chr(59 + n): f"f{n + 1}" for n in range(10)},
    **{chr(84 + n): f"f{n + 13}" for n in range(10)},
    "\x85": "f11",
    "\x86": "f12",
    "\x87": "f23",
    "\x88": "f24",
    "H": "up",
    "P": "down",
    "K": "left",
    "M": "right",
    "G": "home",
    "O": "end",
    "I": "page-up",
    "Q": "page-down",
    "R": "insert",
    "S": "delete",
}
NAMES = frozenset(
    {*_BY_NUMBER.values(), *_BY_LETTER.values(), *(f"f{n}" for n in range(1, 25))}
    | {"escape", "enter", "tab", "space", "backspace"}
)
_PLAIN = {"\r": "enter", "\n": "enter", "\t": "tab", "\x7f": "backspace", "\b": "backspace"}


class Decoder:
    """Turns characters, in pieces as they come, into keys.

    A key is a single character, or a name in NAMES; `unknown` is a sequence that has none.

    >>> Decoder().feed("a\\x1b[25~b")
    ['a', 'f13', 'b']
    """

    def __init__(self) -> None:
        self._held = ""

    def feed(self, chars: str) -> list[str]:
        """Take what came since the last call and return the keys.

        A sequence cut off at the end is held back once: when the next call brings nothing, the
        escape key itself was meant.
        """
        text, self._held = self._held + chars, ""
        keys: list[str] = []
        while text:
            key, rest = self._first(text, last_chance=not chars)
            if key is None:
                self._held = text
                return keys
            keys.append(key)
            text = rest
        return keys

    def _first(self, text: str, *, last_chance: bool) -> tuple[str | None, str]:
        if text[0] != ESCAPE:
            return _PLAIN.get(text[0], text[0]), text[1:]
        sequence = _SEQUENCE.match(text)
        if sequence is not None:
            return _name(sequence[0]), text[sequence.end() :]
        if _BEGINNING.fullmatch(text):
            if not last_chance and len(text) < LONGEST:
                return None, ""
            # A sequence that stayed incomplete is one unknown key, not an escape and some letters
            # that might be marks.
            return ("unknown" if len(text) > 1 else "escape"), ""
        return "escape", text[1:]


def _name(sequence: str) -> str:
    parts = _PARTS.fullmatch(sequence)
    if parts is None:
        return "unknown"
    console, number, shift, final = parts.groups()
    if console:
        return _CONSOLE_LETTER.get(final, "unknown")
    code = int(number or "1")
    if final == "u" and _PRIVATE_F13 <= code < _PRIVATE_F13 + 12:
        return f"f{code - _PRIVATE_F13 + 13}"
    name = _BY_NUMBER.get(code) if final == "~" else _BY_LETTER.get(final)
    if name is None:
        return "unknown"
    return _shifted(name) if shift is not None and int(shift) == _SHIFT else name


def _shifted(name: str) -> str:
    """Shift with F1 to F12 is what keyboards without more keys send for F13 to F24."""
    if name[0] == "f" and name[1:].isdigit() and int(name[1:]) <= 12:
        return f"f{int(name[1:]) + 12}"
    return name


def windows_key(code: str) -> str:
    """Return the key of a scan code that followed the Windows console's prefix."""
    return _WINDOWS.get(code, "unknown")
