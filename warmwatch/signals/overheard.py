"""Requests and answers that others put on a bus, put together by listening. No I/O, no clock.

ISO 15765-2 over identifiers of 11 and 29 bits. An answer is worth more with its request: only that
says which identifiers were asked, and records carry no length of their own.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from warmwatch.signals.answers import NEGATIVE, POSITIVE_OFFSET
from warmwatch.signals.isotp import CONSECUTIVE_TIMEOUT_S, Assembler

WIDTHS: Mapping[int, int] = {0x01: 1, 0x21: 1, 0x22: 2}
"""The services that are understood, and the size of their identifiers in bytes."""
REQUEST_S = 30.0
"""So long a request may wait for its answer: response pending stretches it again and again."""
MOST_KEPT = 64
"""So many identifiers are kept, the ones heard last; no bus has more testers and units."""
_FIRST_NARROW = 0x600
"""Diagnostics begin here on 11 bits (ISO 15765-4: 7DF, 7E0 to 7EF; below: common practice)."""
_FUNCTIONAL = (0x7DF, 0x18DB33F1)
_GROUPS = (0xDA, 0xDB)
"""The third byte from the right on 29 bits: one unit, all units (ISO 15765-2, fixed addressing)."""


@dataclass(frozen=True, slots=True)
class Exchanged:
    """One answer and the request that it belongs to, which is empty where it was not seen.

    `asked_at` is the identifier that the request came from, 0 where it was not seen.
    """

    can_id: int
    wide: bool
    answer: bytes
    request: bytes = b""
    asked_at: int = 0

    @property
    def service(self) -> int:
        """The service that was asked for."""
        refused = self.answer[0] == NEGATIVE
        return self.answer[1] if refused else self.answer[0] - POSITIVE_OFFSET

    @property
    def identifiers(self) -> tuple[int, ...]:
        """The identifiers that were asked for; empty where the request was not seen."""
        return _identifiers(self.request)


@dataclass(slots=True)
class _Line:
    """What comes from one identifier: the frames of a message, and the request last heard."""

    assembler: Assembler
    at_s: float = 0.0
    request: bytes = b""
    asked_s: float = 0.0


@dataclass(slots=True)
class Overheard:
    """Feed it every frame of a bus; it gives an answer when one is complete.

    `named` are identifiers to listen to outside the usual ranges, and True for each whose frames
    begin with an address byte (extended addressing).
    """

    named: Mapping[int, bool] = field(default_factory=dict)
    _lines: dict[int, _Line] = field(default_factory=dict)

    def hear(self, can_id: int, wide: bool, data: bytes, now_s: float) -> Exchanged | None:
        """Take one data frame."""
        if can_id not in self.named:
            usual = can_id >> 16 & 0xFF in _GROUPS if wide else can_id >= _FIRST_NARROW
            if not usual:
                return None
        line = self._line(can_id)
        if now_s - line.at_s > CONSECUTIVE_TIMEOUT_S:
            line.assembler.reset()
        line.at_s = now_s
        prefix = 1 if self.named.get(can_id) else 0
        payload = line.assembler.receive(data[prefix:]).payload
        return None if payload is None else self._whole(can_id, wide, payload, now_s)

    def _line(self, can_id: int) -> _Line:
        line = self._lines.pop(can_id, None)
        if line is None:
            line = _Line(Assembler(extended=self.named.get(can_id, False)))
        self._lines[can_id] = line  # the one heard last stands last
        if len(self._lines) > MOST_KEPT:
            del self._lines[next(iter(self._lines))]
        return line

    def _whole(self, can_id: int, wide: bool, payload: bytes, now_s: float) -> Exchanged | None:
        service = payload[0]
        if service in WIDTHS:
            line = self._lines[can_id]
            line.request, line.asked_s = payload, now_s
            return None
        refused = service == NEGATIVE and len(payload) == 3 and payload[1] in WIDTHS
        if not refused and service - POSITIVE_OFFSET not in WIDTHS:
            return None
        request, asked_at = self._request_of(can_id, Exchanged(can_id, wide, payload), now_s)
        if not request and not (can_id in self.named or _legislated(can_id, wide)):
            return None  # a frame of something else may look like an answer
        return Exchanged(can_id, wide, payload, request, asked_at)

    def _request_of(self, answer_id: int, answer: Exchanged, now_s: float) -> tuple[bytes, int]:
        """Return the newest request that this may answer; the one to this very unit comes first."""
        found = [
            (asked_id == asked_at(answer_id, answer.wide), line.asked_s, line.request, asked_id)
            for asked_id, line in self._lines.items()
            if line.request and now_s - line.asked_s <= REQUEST_S and asked_id != answer_id
            if _fits(line.request, answer, asked_id in _FUNCTIONAL)
        ]
        return max(found)[2:] if found else (b"", 0)


def _fits(request: bytes, answer: Exchanged, functional: bool) -> bool:
    if request[0] != answer.service:
        return False
    if answer.answer[0] == NEGATIVE:
        return not functional  # whom a refusal of a question to all concerns, nobody can say
    width = WIDTHS[answer.service]
    first = int.from_bytes(answer.answer[1 : 1 + width], "big")
    return len(answer.answer) > width and first in _identifiers(request)


def _identifiers(request: bytes) -> tuple[int, ...]:
    if not request:
        return ()
    width = WIDTHS[request[0]]
    rest = request[1:] if request[0] != 0x21 else request[1:2]  # what follows 21 xx is a mode
    return tuple(
        int.from_bytes(rest[at : at + width], "big")
        for at in range(0, len(rest) - width + 1, width)
    )


def asked_at(answer_id: int, wide: bool) -> int:
    """Return the identifier at which a unit is asked, by the standard's rule."""
    if not wide:
        return answer_id - 8
    return answer_id & ~0xFFFF | (answer_id & 0xFF) << 8 | answer_id >> 8 & 0xFF


def _legislated(can_id: int, wide: bool) -> bool:
    return can_id & 0x1FFFFF00 == 0x18DAF100 if wide else 0x7E8 <= can_id <= 0x7EF
