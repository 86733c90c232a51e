"""ISO 15765-2 segmentation, the part that listens: frames in, payloads out, no I/O.

It sends nothing (an AT-command adapter does the flow control itself, and the CAN link leaves it to
can-isotp), so that it can also read a recorded exchange.
"""

from dataclasses import dataclass

MAX_PAYLOAD = 4095
CONSECUTIVE_TIMEOUT_S = 1.0
"""N_Cr: the longest wait for the next consecutive frame."""

_SINGLE, _FIRST, _CONSECUTIVE, _FLOW_CONTROL = range(4)


@dataclass(frozen=True, slots=True)
class Assembled:
    """What a frame brought: a whole payload, a fault in words, or neither (more is to come)."""

    payload: bytes | None = None
    fault: str = ""


def frame_fault(data: bytes, extended: bool = False) -> str:
    """Return why ISO 15765-2 says to ignore this frame, or an empty text.

    `data` begins with the frame type's byte; with extended addressing the address byte before it
    is taken off, which leaves room for 6 bytes instead of 7.
    """
    if not data:
        return "an empty frame"
    room = 6 if extended else 7
    kind, low = data[0] >> 4, data[0] & 0x0F
    if kind > _FLOW_CONTROL:
        return f"a frame of unknown type {kind:X}"
    if kind == _SINGLE and not 1 <= low <= min(room, len(data) - 1):
        return f"a single frame of impossible length {low}"
    if kind == _FIRST and len(data) != room + 1:
        return "a first frame of the wrong size"
    if kind == _FIRST and (low << 8 | data[1]) <= room:
        return f"a first frame that announces only {low << 8 | data[1]} bytes"
    return ""


class Assembler:
    """Puts the frames of one sender together. Feed it whole frames in the order they came."""

    def __init__(self, extended: bool = False, longest: int = MAX_PAYLOAD) -> None:
        self._extended = extended
        self._longest = longest
        self._buffer = bytearray()
        self._total = 0
        self._next = 0

    @property
    def waiting(self) -> bool:
        """True while consecutive frames are missing."""
        return self._total > 0

    def reset(self) -> None:
        """Drop a half answer; call it when no frame came for CONSECUTIVE_TIMEOUT_S."""
        self._buffer.clear()
        self._total = 0

    def receive(self, data: bytes) -> Assembled:
        """Take one frame, without an address byte; unused bytes at its end do not matter."""
        fault = frame_fault(data, self._extended)
        if fault:
            return Assembled(fault=fault)
        kind = data[0] >> 4
        if kind == _CONSECUTIVE:
            return self._consecutive(data)
        if kind == _FLOW_CONTROL:
            return Assembled()
        interrupted = "a new answer cut the last one short" if self.waiting else ""
        self.reset()
        if kind == _SINGLE:
            return Assembled(data[1 : 1 + (data[0] & 0x0F)], interrupted)
        return self._first(data, interrupted)

    def _first(self, data: bytes, interrupted: str) -> Assembled:
        total = (data[0] & 0x0F) << 8 | data[1]
        if total > self._longest:
            return Assembled(fault=f"an answer of {total} bytes is too long")
        self._buffer.extend(data[2:])
        self._total, self._next = total, 1
        return Assembled(fault=interrupted)

    def _consecutive(self, data: bytes) -> Assembled:
        if not self.waiting:
            return Assembled(fault="a consecutive frame without a first frame")
        if data[0] & 0x0F != self._next:
            return self._given_up(f"frame {data[0] & 0x0F:X} came instead of {self._next:X}")
        room = 6 if self._extended else 7
        if len(data) - 1 < min(room, self._total - len(self._buffer)):
            return self._given_up("a consecutive frame that is too short")
        self._next = (self._next + 1) & 0x0F
        self._buffer.extend(data[1:])
        if len(self._buffer) < self._total:
            return Assembled()
        payload = bytes(self._buffer[: self._total])
        self.reset()
        return Assembled(payload)

    def _given_up(self, fault: str) -> Assembled:
        self.reset()
        return Assembled(fault=fault)


def single_frame(payload: bytes, padding: int = 0xCC) -> bytes:
    """Return the 8-byte single frame of a payload of 1 to 7 bytes (no address byte)."""
    if not 1 <= len(payload) <= 7:
        raise ValueError("a single frame holds one to seven bytes")
    return (bytes([len(payload)]) + payload).ljust(8, bytes([padding]))


def segments(payload: bytes, padding: int = 0xCC) -> list[bytes]:
    """Return the frames of a payload of 1 to MAX_PAYLOAD bytes, of 8 bytes each."""
    if len(payload) <= 7:
        return [single_frame(payload, padding)]
    if len(payload) > MAX_PAYLOAD:
        raise ValueError(f"a payload has at most {MAX_PAYLOAD} bytes")
    frames = [bytes([0x10 | len(payload) >> 8, len(payload) & 0xFF]) + payload[:6]]
    for number, at in enumerate(range(6, len(payload), 7), start=1):
        frames.append(
            (bytes([0x20 | number & 0x0F]) + payload[at : at + 7]).ljust(8, bytes([padding]))
        )
    return frames
