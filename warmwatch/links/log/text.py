"""Reads the text of an adapter that `--keep-bus` kept, as the frames that it stands for.

The adapter does the segmentation itself and may show no identifiers, so that the frames are made
again from whole requests and answers: what follows then reads both kinds of log alike.
"""

import json
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING

from warmwatch.links.asking.units import FIXED, NORMAL
from warmwatch.links.keeping import SENT, TEXT_HEAD
from warmwatch.links.serial.adapter import AnswerReader, Headers, headers_in, read_answer
from warmwatch.signals.isotp import segments

if TYPE_CHECKING:
    import can

    from warmwatch.links.log.dump import Lines

_LINE = re.compile(r"\((\d+\.\d+)\) ([<>]) (\".*\")\s*")
_HEADER = re.compile(r"ATSH([0-9A-F]+)")
_REQUEST = re.compile(r"(?:[0-9A-F]{2})+")
_PRIORITY = 0x18000000
"""In front of the six digits that set a header of 29 bits."""


def is_adapter_text(line: str) -> bool:
    """True for the first line of such a file."""
    return line.rstrip() == TEXT_HEAD


class TextReader:
    """Yields frames; it can be iterated on after a ValueError."""

    def __init__(self, file: "Lines") -> None:
        self.file = file
        self._answer = AnswerReader()
        self._command = ""
        self._asked_at: int | None = None
        self._headers: Headers | None = None

    def __iter__(self) -> Iterator["can.Message"]:
        for line in self.file:
            if line.isspace() or is_adapter_text(line):
                continue
            match = _LINE.fullmatch(line)
            if match is None:
                raise ValueError("no piece of an adapter's text")
            at_s, text = float(match[1]), str(json.loads(match[3]))
            yield from self._sent(text) if match[2] == SENT else self._came(at_s, text)

    def stop(self) -> None:
        """Close the file."""
        self.file.close()

    def _sent(self, text: str) -> Iterator["can.Message"]:
        self._answer.drop()
        self._command = text.strip().upper()
        if match := _HEADER.fullmatch(self._command):
            header = int(match[1], 16)
            self._asked_at = header if len(match[1]) == 3 else _PRIORITY | header
        elif self._command == "ATZ":
            self._asked_at = self._headers = None
        yield from ()

    def _came(self, at_s: float, text: str) -> Iterator["can.Message"]:
        whole = self._answer.receive(text.encode("latin-1"))
        if whole is None or not _REQUEST.fullmatch(self._command):
            return
        headers = headers_in(whole, self._command) or self._headers
        if headers is not None:
            self._headers = headers
        answer = read_answer(whole, self._command, headers or Headers.NONE)
        if answer.unreadable or not answer.payloads:
            return
        wide = self._headers is Headers.BITS_29
        asked_at = self._asked_at or (FIXED if wide else NORMAL).functional_id or 0
        yield from _frames(at_s, asked_at, bytes.fromhex(self._command))
        for payload in answer.payloads:
            yield from _frames(at_s, payload.unit or _answers_from(asked_at), payload.data)


def _answers_from(asked_at: int) -> int:
    """Return where the answer of a unit comes from that is asked at an identifier of 11 bits."""
    return 0x7E8 if asked_at == NORMAL.functional_id else NORMAL.unit_at(asked_at).answer_id


def _frames(at_s: float, can_id: int, payload: bytes) -> Iterator["can.Message"]:
    from warmwatch.links.python_can import can

    for data in segments(payload):
        yield can.Message(
            timestamp=at_s, arbitration_id=can_id, is_extended_id=can_id > 0x7FF, data=data
        )
