"""One signal: which bytes of which answer become which quantity, and how."""

from dataclasses import dataclass

from warmwatch.core.reason import Reason
from warmwatch.core.units import QUANTITIES, to_c

SERVICE_CURRENT_DATA = 0x01
SERVICE_READ_BY_IDENTIFIER = 0x22


@dataclass(frozen=True, slots=True)
class Signal:
    """What to ask and how to read the record that comes back.

    `name` is a quantity of core.units.QUANTITIES. `service` is 0x01 or 0x21 (`identifier` is one
    byte) or 0x22 (two bytes). `session` is "extended" where the unit answers in that one only. The
    number is the big-endian integer of `length` bytes from `first_byte` of the record (the bytes
    after the identifier's echo); value = number * scale + offset, in `unit`.
    `low` and `high` bound what is plausible, in the quantity's own unit (degC for temperatures).
    `record_length` is the whole record's size in bytes, needed to ask several identifiers at once.
    `target` is the address that the unit is asked at and `answer_id` the CAN identifier that it
    answers from, where they are not the usual ones.
    """

    name: str
    service: int
    identifier: int
    first_byte: int = 0
    length: int = 1
    signed: bool = False
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""
    low: float = float("-inf")
    high: float = float("inf")
    record_length: int | None = None
    target: int | None = None
    answer_id: int | None = None
    session: str = ""
    source: str = ""

    @property
    def ask(self) -> str:
        """The request in hex digits, such as `01 05` or `22 1234`."""
        width = 4 if self.service == SERVICE_READ_BY_IDENTIFIER else 2
        return f"{self.service:02X} {self.identifier:0{width}X}"


@dataclass(frozen=True, slots=True)
class Decoded:
    """A value, a reason to doubt it, or a reason why there is none (`value` is None).

    `doubt` is a Reason's text, empty where there is none.
    """

    value: float | None
    doubt: str = ""


def decode(signal: Signal, record: bytes) -> Decoded:
    """Return what `record` says of `signal`; temperatures come in degC."""
    expected = signal.record_length
    if expected is not None and len(record) != expected:
        return Decoded(None, _size("record-length", len(record), expected))
    end = signal.first_byte + signal.length
    if len(record) < end:
        return Decoded(None, _size("record-short", len(record), end))
    number = int.from_bytes(record[signal.first_byte : end], "big", signed=signal.signed)
    # Rounding takes out what binary fractions add: 255 * (100 / 255) must not exceed 100.
    value = round(to_c(number * signal.scale + signal.offset, signal.unit), 9)
    if signal.low <= value <= signal.high:
        return Decoded(value)
    return Decoded(value, _out_of_range(signal, value))


def _size(code: str, found: int, needed: int) -> str:
    return str(Reason(code, {"bytes": found, "needed": needed}))


def _out_of_range(signal: Signal, value: float) -> str:
    known = QUANTITIES.get(signal.name)
    ending = "_c" if known is not None and known.unit == "degC" else ""
    figures = {"value": value, "low": signal.low, "high": signal.high}
    return str(Reason("out-of-range", {name + ending: each for name, each in figures.items()}))
