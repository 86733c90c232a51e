"""The pure half of `serial:`: what an AT-command text adapter printed, cut into whole payloads.

An answer is everything up to the prompt. Each of its lines must be the echo of our command, one of
the adapter's own words, or a whole CAN frame in hex digits; a single line that is not one of these
makes the answer unreadable, because a value must never come out of half an answer. Frames are put
together after ISO 15765-2.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import Enum, StrEnum

from warmwatch.links.asking.units import TESTER
from warmwatch.signals.isotp import Assembler

MAX_ANSWER = 8192
PROMPT = b">"


class Headers(Enum):
    """How the adapter shows the CAN identifier before the data."""

    BITS_11 = 3
    BITS_29 = 8
    K_LINE = 2
    """No CAN identifier: three bytes in front and a checksum behind (ISO 14230-2, ISO 9141-2)."""
    NONE = 0


class Word(StrEnum):
    """What the adapter says itself, sorted by what it means for us."""

    OK = "ok"
    SEARCHING = "is looking for the bus"
    NO_DATA = "no answer from the vehicle"
    NO_BUS = "cannot reach the bus"
    BUS_ERROR = "reports errors on the bus"
    BUFFER_FULL = "lost part of the answer"
    STOPPED = "was interrupted"
    UNKNOWN = "does not know the command"
    RESTARTED = "has restarted"


# The words of the common command set, without spaces and dots.
_WORDS = {
    "OK": Word.OK,
    "SEARCHING": Word.SEARCHING,
    "NODATA": Word.NO_DATA,
    "UNABLETOCONNECT": Word.NO_BUS,
    "BUSINIT:ERROR": Word.NO_BUS,
    "BUSINIT:OK": Word.SEARCHING,
    "BUSINIT:": Word.SEARCHING,
    "CANERROR": Word.BUS_ERROR,
    "BUSERROR": Word.BUS_ERROR,
    "BUSBUSY": Word.BUS_ERROR,
    "FBERROR": Word.BUS_ERROR,
    "DATAERROR": Word.BUS_ERROR,
    "RXERROR": Word.BUS_ERROR,
    "BUFFERFULL": Word.BUFFER_FULL,
    "STOPPED": Word.STOPPED,
    "?": Word.UNKNOWN,
    "LVRESET": Word.RESTARTED,
}
_FAILED_WORD = re.compile(r"ERR\d\d")
_SEARCHING = re.compile(r"SEARCHING\.*")
_FRAME = {
    Headers.BITS_11: re.compile(r"([0-9A-F]{3})((?:[0-9A-F]{2}){1,8})"),
    Headers.BITS_29: re.compile(r"([0-9A-F]{8})((?:[0-9A-F]{2}){1,8})"),
}
_STILL_WORKING = re.compile(r"037F[0-9A-F]{2}78")
_K_LINE = re.compile(r"(?:[0-9A-F]{2}){5,260}")
_BARE_SINGLE = re.compile(r"(?:[0-9A-F]{2}){1,7}")
_BARE_LENGTH = re.compile(r"[0-9A-F]{3}")
_BARE_PART = re.compile(r"([0-9A-F]):((?:[0-9A-F]{2}){1,7})")


class AnswerReader:
    """Collects bytes until the prompt."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def receive(self, data: bytes) -> str | None:
        """Return the text before the prompt, once it is there; what follows stays."""
        # Such adapters may slip in NUL bytes that mean nothing (common practice, no source).
        self._bytes += data.replace(b"\0", b"")
        end = self._bytes.find(PROMPT)
        if end < 0:
            del self._bytes[:-MAX_ANSWER]
            return None
        text = self._bytes[:end].decode("ascii", errors="replace")
        del self._bytes[: end + 1]
        return text

    def drop(self) -> int:
        """Forget what is there and return how many bytes that was."""
        count = len(self._bytes)
        self._bytes.clear()
        return count


@dataclass(frozen=True, slots=True)
class Payload:
    """One whole message; `unit` is its CAN identifier, 0 where the adapter does not show it."""

    unit: int
    data: bytes


@dataclass(frozen=True, slots=True)
class AdapterAnswer:
    """One answer, read. `unreadable` says why nothing in it may be used.

    `shape` is the length of each frame line in digits, without "still working": the same request
    has the same shape each time, so another shape is a reason to ask again.
    """

    payloads: tuple[Payload, ...] = ()
    words: frozenset[Word] = frozenset()
    unreadable: str = ""
    shape: tuple[int, ...] = ()
    text: str = field(default="", compare=False)


def read_answer(text: str, command: str, headers: Headers) -> AdapterAnswer:
    """Return what `text` (all before the prompt) says as the answer to `command`."""
    lines = _lines(text, command)
    words: set[Word] = set()
    frames: list[str] = []
    for line in lines:
        word, rest = _word(line)
        if word is not None:
            words.add(word)
        if rest:
            frames.append(rest)
    if frames and not text.endswith(("\r", "\n")):
        return AdapterAnswer((), frozenset(words), "its last line is cut off", (), text)
    shape = tuple(len(frame) for frame in frames if not _STILL_WORKING.search(frame))
    try:
        payloads = _READERS.get(headers, _framed_payloads)(frames, headers)
    except _Unreadable as error:
        return AdapterAnswer((), frozenset(words), str(error), shape, text)
    if payloads and words & {Word.BUS_ERROR, Word.BUFFER_FULL, Word.STOPPED, Word.RESTARTED}:
        return AdapterAnswer((), frozenset(words), "the adapter broke it off", shape, text)
    return AdapterAnswer(payloads, frozenset(words), "", shape, text)


def headers_in(text: str, command: str) -> Headers | None:
    """Return which identifiers the frames of an answer carry, or None when it has no frames."""
    frames = [rest for line in _lines(text, command) if (rest := _word(line)[1])]
    for headers in (Headers.BITS_11, Headers.BITS_29):
        if frames and all(_FRAME[headers].fullmatch(frame) for frame in frames):
            return headers
    return None


class _Unreadable(ValueError):
    """Nothing in this answer may be used."""


def _lines(text: str, command: str) -> list[str]:
    lines = [re.sub(r"[ \t]", "", line).upper() for line in re.split(r"[\r\n]+", text)]
    lines = [line for line in lines if line]
    return lines[1:] if lines and lines[0] == command.replace(" ", "").upper() else lines


def _word(line: str) -> tuple[Word | None, str]:
    """Return the adapter's word in a line, and the frame digits that are left of it."""
    searching = _SEARCHING.match(line)
    if searching is not None:  # the first answer may stand on the same line
        word, rest = _word(line[searching.end() :]) if line[searching.end() :] else (None, "")
        return word or Word.SEARCHING, rest
    word = _WORDS.get(line.replace(".", "").lstrip("<"))
    if word is None and _FAILED_WORD.fullmatch(line):
        word = Word.RESTARTED
    return (word, "") if word is not None else (None, line)


def _framed_payloads(lines: Iterable[str], headers: Headers) -> tuple[Payload, ...]:
    pattern = _FRAME[headers]
    opened: dict[int, Assembler] = {}
    done: list[Payload] = []
    for line in lines:
        match = pattern.fullmatch(line)
        if match is None:
            raise _Unreadable(f"{line[:40]!r} is no frame")
        unit = int(match[1], 16)
        assembled = opened.setdefault(unit, Assembler()).receive(bytes.fromhex(match[2]))
        if assembled.fault:
            raise _Unreadable(assembled.fault)
        if assembled.payload is not None:
            done.append(Payload(unit, assembled.payload))
    if any(assembler.waiting for assembler in opened.values()):
        raise _Unreadable("the rest of a long answer is missing")
    return tuple(done)


def _k_line_payloads(lines: list[str], _: Headers) -> tuple[Payload, ...]:
    """Read K-line messages, each checked by its checksum: the sum of its bytes, modulo 256.

    ISO 14230-2: format byte (its low six bits are the length, 0: a fourth byte is), target, source;
    ISO 9141-2: 48 6B source. Both as commonly published, from memory.
    """
    found = []
    for line in lines:
        if _K_LINE.fullmatch(line) is None:
            raise _Unreadable(f"{line[:40]!r} is no message")
        message = bytes.fromhex(line)
        if sum(message[:-1]) & 0xFF != message[-1]:
            raise _Unreadable("its checksum is wrong")
        found.append(Payload(message[2], _k_line_data(message)))
    return tuple(found)


def _k_line_data(message: bytes) -> bytes:
    if message[:2] == b"\x48\x6b":
        return message[3:-1]
    length, start = message[0] & 0x3F, 3
    if not length:
        length, start = message[3], 4
    if message[1] != TESTER or len(message) != start + length + 1:
        raise _Unreadable("its length is wrong")
    return message[start:-1]


def _bare_payloads(lines: list[str], _: Headers) -> tuple[Payload, ...]:
    """Read answers without identifiers: single ones, or a length line and numbered parts."""
    if not any(":" in line for line in lines):
        singles = [bytes.fromhex(line) for line in lines if _BARE_SINGLE.fullmatch(line)]
        if len(singles) != len(lines):
            raise _Unreadable("a line is no whole answer")
        return tuple(Payload(0, data) for data in singles)
    if _BARE_LENGTH.fullmatch(lines[0]) is None:
        raise _Unreadable("the length of a long answer is missing")
    length, data = int(lines[0], 16), b""
    for number, line in enumerate(lines[1:]):
        match = _BARE_PART.fullmatch(line)
        if match is None or int(match[1], 16) != number & 0x0F:
            raise _Unreadable("the parts of a long answer are out of order")
        if len(data) >= length or (len(match[2]) // 2 < min(length - len(data), 6 + (number > 0))):
            raise _Unreadable("a part of a long answer has the wrong length")
        data += bytes.fromhex(match[2])
    if len(data) < length or length < 8:
        raise _Unreadable("the rest of a long answer is missing")
    return (Payload(0, data[:length]),)


_READERS = {Headers.NONE: _bare_payloads, Headers.K_LINE: _k_line_payloads}
