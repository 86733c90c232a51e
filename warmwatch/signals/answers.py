"""Answers to requests: the records in them, and refusals with what to do about them.

ISO 14229-1 gives the negative answer 7F, service, code, and the codes; SAE J1979 uses the same
layout.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto

NEGATIVE = 0x7F
POSITIVE_OFFSET = 0x40


class Conduct(Enum):
    """What a refusal asks of the one who asked."""

    WAIT = auto()
    """No answer yet: go on waiting, now up to P2*."""
    REPEAT = auto()
    """Ask the same again in a moment."""
    LATER = auto()
    """Not now; may be asked again after a while."""
    FEWER = auto()
    """Ask for fewer identifiers at once; a single one is refused for good."""
    STOP_IDENTIFIER = auto()
    """Never ask this identifier again."""
    STOP_SERVICE = auto()
    """Never ask this unit for this service again."""
    DEFAULT_SESSION = auto()
    """Not in the present session: go to the default session, once, and ask again."""


# The codes listed for service 22 and for every service, and what they ask for: ISO 14229-1:2013
# clause 10.2 and annex A as retold at CSDN 123813275, 127014723. 12 is not listed for 22 but real.
_REFUSALS: dict[int, tuple[str, Conduct]] = {
    0x10: ("it refuses without saying why", Conduct.LATER),
    0x11: ("it does not know this kind of request", Conduct.STOP_SERVICE),
    0x12: ("it does not know this request", Conduct.STOP_IDENTIFIER),
    0x13: ("the request has the wrong length or asks too much at once", Conduct.FEWER),
    0x14: ("its answer would be too long", Conduct.FEWER),
    0x21: ("it is busy", Conduct.REPEAT),
    0x22: ("conditions are not right for it now", Conduct.LATER),
    0x31: ("it does not know this identifier", Conduct.STOP_IDENTIFIER),
    0x33: ("it is locked against reading this", Conduct.STOP_IDENTIFIER),
    0x78: ("it is still working on the answer", Conduct.WAIT),
    0x7F: ("it does not serve this request in its present session", Conduct.DEFAULT_SESSION),
}


@dataclass(frozen=True, slots=True)
class Refusal:
    """A unit's negative answer to `service`."""

    service: int
    code: int

    @property
    def words(self) -> str:
        """Why, in plain words, with the standard's code."""
        reason = _REFUSALS.get(self.code, ("it refuses", Conduct.LATER))[0]
        return f"{reason} (code {self.code:02X})"

    @property
    def conduct(self) -> Conduct:
        """What to do; an unknown code is asked again later."""
        return _REFUSALS.get(self.code, ("", Conduct.LATER))[1]


def parse_refusal(payload: bytes) -> Refusal | None:
    """Return the Refusal of exactly three bytes 7F, service, code; None for anything else."""
    if len(payload) != 3 or payload[0] != NEGATIVE:
        return None
    return Refusal(payload[1], payload[2])


def split_records(
    payload: bytes, service: int, width: int, lengths: Mapping[int, int | None]
) -> dict[int, bytes]:
    """Return the record of each identifier in a positive answer.

    `width` is the size of an identifier in bytes. `lengths` gives the record size of each
    identifier that was asked; None (unknown) takes the rest. Records carry no length of their own,
    so anything that does not fit exactly raises ValueError: a misread answer must not become a
    value.
    """
    if not payload or payload[0] != service + POSITIVE_OFFSET:
        raise ValueError(f"no answer to service {service:02X}")
    records: dict[int, bytes] = {}
    at = 1
    while at < len(payload):
        identifier = int.from_bytes(payload[at : at + width], "big")
        at += width
        if identifier not in lengths or identifier in records or at > len(payload):
            raise ValueError(f"unexpected identifier {identifier:0{2 * width}X} in the answer")
        length = lengths[identifier]
        end = len(payload) if length is None else at + length
        if end > len(payload) or (len(lengths) == 1 and end != len(payload)):
            found = len(payload) - at
            raise ValueError(f"{identifier:0{2 * width}X}: {found} bytes instead of {length}")
        records[identifier] = payload[at:end]
        at = end
    if not records:
        raise ValueError("an answer without a record")
    return records


def single_request(service: int, width: int, identifiers: Sequence[int]) -> bytes:
    """Return the request's payload: the service and its identifiers, `width` bytes each."""
    return bytes([service]) + b"".join(i.to_bytes(width, "big") for i in identifiers)
