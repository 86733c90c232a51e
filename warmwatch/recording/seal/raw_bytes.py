"""Compares each recorded fluid temperature with its raw bytes, by the rule in the sidecar.

The rule is followed here a second time, independently of the code that read the vehicle. There are
four kinds, told apart by their keys:

    service, identifier   an answer: the service plus 0x40, then identifier and record for each
                          identifier asked; the big-endian integer of `length` bytes from
                          `first_byte` of the record
    pgn                   a frame of SAE J1939: the little-endian integer of `bits` bits from
                          `first_bit` of `byte`, both counted from 1
    frame                 a frame of a database file: the integer of `bits` bits from `start`, as
                          such files count bits, in `order` little or big
    text                  a line of text: its number alone, or NAME=number, with `decimal` comma or
                          point

A number is multiplied by `scale`, then `offset` is added; the result is in `unit`.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any

from warmwatch.core.units import to_c

FLUID = "fluid_c"
CLOSE_C = 1e-6
_RULES = ("service", "pgn", "frame", "text")
_WIDTHS = {0x01: 1, 0x21: 1, 0x22: 2}


class RawBytes:
    """Follows the readings of one recording; `held` of `seen` temperatures could be compared."""

    def __init__(self, sidecar: Mapping[str, Any]) -> None:
        link = sidecar.get("warmwatch:link")
        signals = link.get("signals") if isinstance(link, Mapping) else None
        self._signals = [s for s in signals or () if isinstance(s, Mapping)]
        fluid = [signal for signal in self._signals if signal.get("name") == FLUID]
        self.ruled = any(key in signal for signal in fluid for key in _RULES)
        """Whether the sidecar has a rule for the fluid temperature at all."""
        self.seen = self.held = 0

    def differs(self, fluid_c: float, raw: str) -> str:
        """Take a temperature and its bytes; return what these say, empty where it is the same.

        What cannot be read by the rule is not compared.
        """
        self.seen += 1
        if self.ruled and not raw:
            return "it has no raw bytes, and this link keeps them with each temperature"
        told = list(self._told(raw))
        if not told:
            return ""
        self.held += 1
        if any(abs(one - fluid_c) <= CLOSE_C for one in told):
            return ""
        return f"its bytes say {told[0]:g} °C, but the row says {fluid_c:g} °C"

    def _told(self, raw: str) -> Iterator[float]:
        for signal in self._signals:
            if signal.get("name") == FLUID:
                try:
                    yield from self._read(signal, raw)
                except (ValueError, TypeError, KeyError, OverflowError):
                    continue

    def _read(self, signal: Mapping[str, Any], raw: str) -> Iterator[float]:
        if "text" in signal:
            yield from _of_text(signal, raw)
            return
        words = raw.split()  # who sent it, what was sent, and so on
        for sender, sent in zip(words[::2], words[1::2], strict=False):
            payload = bytes.fromhex(sent)
            if "service" in signal:
                yield from self._decoded(signal, payload)
            elif "pgn" in signal or "frame" in signal:
                yield from _of_frame(signal, int(sender, 16), payload)

    def _decoded(self, signal: Mapping[str, Any], payload: bytes) -> Iterator[float]:
        record = self._record(int(signal["service"]), int(signal["identifier"]), payload)
        first, length = int(signal["first_byte"]), int(signal["length"])
        part = b"" if record is None else record[first : first + length]
        if not part or len(part) != length:
            return
        number = int.from_bytes(part, "big", signed=bool(signal["signed"]))
        value = number * float(signal["scale"]) + float(signal["offset"])
        yield to_c(value, str(signal["unit"]))

    def _record(self, service: int, identifier: int, payload: bytes) -> bytes | None:
        """Return the record of an identifier; records carry no length, the sidecar has them."""
        width = _WIDTHS.get(service)
        if width is None or not payload or payload[0] != service + 0x40:
            return None
        at = 1
        while at + width <= len(payload):
            found = int.from_bytes(payload[at : at + width], "big")
            at += width
            size = self._size(service, found)
            end = len(payload) if size is None else at + size
            if found == identifier:
                return payload[at:end]
            at = end
        return None

    def _size(self, service: int, identifier: int) -> int | None:
        for signal in self._signals:
            if (signal.get("service"), signal.get("identifier")) == (service, identifier):
                size = signal.get("record_length")
                return size if isinstance(size, int) and size > 0 else None
        return None


def _of_frame(signal: Mapping[str, Any], can_id: int, payload: bytes) -> Iterator[float]:
    """Yield what a frame says; nothing where it is another frame, or too short."""
    bits = int(signal["bits"])
    if "pgn" in signal:
        start, order, group = 8 * (int(signal["byte"]) - 1), "little", can_id >> 8 & 0x3FFFF
        start += int(signal["first_bit"]) - 1
        # Below F0 the low byte of a group is an address (SAE J1939-21).
        ours = int(signal["pgn"]) == (group if group >> 8 & 0xFF >= 0xF0 else group & 0x3FF00)
    else:
        start, order = int(signal["start"]), str(signal["order"])
        ours = can_id & int(signal["mask"]) == int(signal["frame"]) & int(signal["mask"])
    if not ours:
        return
    if order == "big":  # the start is the highest bit, and bits are counted within each byte
        first = 8 * (start // 8) + 7 - start % 8
        low = 8 * len(payload) - first - bits
    else:
        first = low = start
    if low < 0 or first + bits > 8 * len(payload):
        return
    number = int.from_bytes(payload, "big" if order == "big" else "little") >> low & (1 << bits) - 1
    if signal.get("signed") and number >> bits - 1:
        number -= 1 << bits
    value = number * float(signal["scale"]) + float(signal["offset"])
    yield to_c(value, str(signal.get("unit", "C")))


_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?"
_BARE = re.compile(rf"({_NUMBER})\s*(?:°?\s*([CcFf]))?", re.ASCII)
_NAMED = re.compile(rf"(?:^|[\s,])fluid_([cf])=({_NUMBER})(?=$|[\s,])", re.ASCII | re.IGNORECASE)


def _of_text(signal: Mapping[str, Any], raw: str) -> Iterator[float]:
    if named := _NAMED.search(raw):
        yield to_c(float(named[2]), named[1].upper())
        return
    comma = signal.get("decimal") == "comma"
    if bare := _BARE.fullmatch(raw.replace(",", ".") if comma else raw):
        yield to_c(float(bare[1]), (bare[2] or str(signal.get("unit", "C"))).upper())
