"""Holds each recorded fluid temperature against its raw bytes, by the rule in the sidecar.

The rule is read and followed here once more, apart from the code that read the vehicle: an answer
is the service plus 0x40, then identifier and record for each identifier asked; the number is the
big-endian integer of `length` bytes from `first_byte` of the record, times `scale`, plus `offset`.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from warmwatch.core.units import to_c

FLUID = "fluid_c"
CLOSE_C = 1e-6
_WIDTHS = {0x01: 1, 0x21: 1, 0x22: 2}


class RawBytes:
    """Follows the readings of one recording; `held` of `seen` temperatures could be compared."""

    def __init__(self, sidecar: Mapping[str, Any]) -> None:
        link = sidecar.get("warmwatch:link")
        signals = link.get("signals") if isinstance(link, Mapping) else None
        self._signals = [s for s in signals or () if isinstance(s, Mapping)]
        self.ruled = any(signal.get("name") == FLUID for signal in self._signals)
        """Whether the sidecar has a rule for the fluid temperature at all."""
        self.seen = self.held = 0

    def differs(self, fluid_c: float, raw: str) -> str:
        """Take a temperature and its bytes; return what these say, empty where it is the same.

        What cannot be read by the rule is not compared.
        """
        self.seen += 1
        told = list(self._told(raw))
        if not told:
            return ""
        self.held += 1
        if any(abs(one - fluid_c) <= CLOSE_C for one in told):
            return ""
        return f"its bytes say {told[0]:g} °C, and {fluid_c:g} °C stand there"

    def _told(self, raw: str) -> Iterator[float]:
        try:
            payload = bytes.fromhex(raw.partition(" ")[2])
            for signal in self._signals:
                if signal.get("name") == FLUID:
                    yield from self._decoded(signal, payload)
        except (ValueError, TypeError, KeyError, OverflowError):
            return

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
