"""The pure half of `lines:`: bytes in, values and marks out.

A line is one number, or `name=value` pairs set apart by spaces or commas, or
`mark=NAME note="free text"`. What cannot be read for certain is refused, never guessed.
"""

import math
import re
from dataclasses import dataclass

from warmwatch.core.reading import MarkName
from warmwatch.core.units import f_to_c
from warmwatch.links.live import MarkLine, Values

MAX_LINE = 1000
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?"
_BARE = re.compile(rf"({_NUMBER})\s*(?:°?\s*([CcFf]))?", re.ASCII)
_PAIR = re.compile(rf"([A-Za-z][A-Za-z0-9_]{{0,39}})=({_NUMBER})", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+\s*(?:°?\s*[CcFf])?", re.ASCII)
_MARK = re.compile(r'mark=([A-Za-z-]+)(?:[\s,]+note=(?:"([^"]*)"|([^\s"]+)))?')


class UnreadableLine(ValueError):
    """A line that is no number, no pairs and no mark; `str(error)` says why."""


class LineSplitter:
    """Cuts a stream of bytes into lines and keeps the unfinished one.

    With `skip_first` the first piece is left out: whoever opens a port in mid-line would read
    `1.5` where `41.5` was sent.
    """

    def __init__(self, *, skip_first: bool) -> None:
        self._rest = b""
        self._skipping = skip_first

    def receive(self, data: bytes) -> list[str]:
        """Return the lines that `data` completes, without empty ones."""
        *pieces, self._rest = re.split(rb"[\r\n]+", self._rest + data)
        if self._skipping and pieces:
            del pieces[0]
            self._skipping = False
        if len(self._rest) > MAX_LINE:
            self._rest = b"\0" + self._rest[:80]  # no readable line begins so: it counts as garbage
        # A whole line can be too long, too: no row of a recording could hold it.
        short = (p if len(p) <= MAX_LINE else b"\0" + p[:80] for p in pieces)
        texts = (piece.decode("utf-8", errors="replace").strip() for piece in short)
        return [text for text in texts if text]

    def rest(self) -> str:
        """Return the unfinished line, at the end of the input."""
        text = "" if self._skipping else self._rest.decode("utf-8", errors="replace").strip()
        self._rest = b""
        return text


@dataclass(frozen=True, slots=True)
class LineFormat:
    """What a bare number means: `unit` "C" or "F", and whether a comma is its decimal mark."""

    unit: str = "C"
    decimal_comma: bool = False


def read_line(text: str, form: LineFormat) -> Values | MarkLine:
    """Return what one line says; a bare number is `fluid_c`. Raises UnreadableLine."""
    if text.startswith("\0"):
        raise UnreadableLine(f"it is longer than {MAX_LINE} bytes, or binary")
    if text.startswith("mark="):
        return _mark(text)
    if "=" in text:
        return Values(_pairs(text), raw=text)
    return Values({"fluid_c": _bare(text, form)}, raw=text)


def _mark(text: str) -> MarkLine:
    match = _MARK.fullmatch(text)
    if match is None:
        raise UnreadableLine('write mark=NAME or mark=NAME note="free text"')
    try:
        name = MarkName(match[1].lower())
    except ValueError:
        known = ", ".join(MarkName)
        raise UnreadableLine(f"a mark is one of {known}") from None
    return MarkLine(name, match[2] or match[3] or "")


def _bare(text: str, form: LineFormat) -> float:
    if _DECIMAL_COMMA.fullmatch(text):
        if not form.decimal_comma:
            raise UnreadableLine(
                "one number with a decimal comma or two numbers? add ?decimal=comma"
            )
        text = text.replace(",", ".")
    match = _BARE.fullmatch(text)
    if match is None:
        raise UnreadableLine("it is neither a number nor name=value pairs")
    number = _finite(match[1])
    return round(f_to_c(number), 9) if (match[2] or form.unit).upper() == "F" else number


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise UnreadableLine(f"{text!r} is too large a number")
    return number


def _pairs(text: str) -> dict[str, float]:
    values: dict[str, float] = {}
    for part in re.split(r"[\s,]+", text.strip(" \t,")):
        match = _PAIR.fullmatch(part)
        if match is None:
            raise UnreadableLine(f"{part!r} is no name=number")
        name, number = match[1].lower(), _finite(match[2])
        if name.endswith("_f"):
            name, number = f"{name[:-2]}_c", round(f_to_c(number), 9)
        if name in values:
            raise UnreadableLine(f"{name} stands in it twice")
        values[name] = number
    return values
