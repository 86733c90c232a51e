"""ISO 14229-1 service 22 and session timing: payload bytes in and out, no I/O."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from warmwatch.signals.answers import single_request, split_records

SERVICE = 0x22
LOCAL_SERVICE = 0x21
"""Read by local identifier (ISO 14230-3): one byte, one identifier a request."""
SESSION_SERVICE, TESTER_PRESENT = 0x10, 0x3E
DEFAULT, EXTENDED = 0x01, 0x03
DEFAULT_SESSION = bytes([SESSION_SERVICE, DEFAULT])
EXTENDED_SESSION = bytes([SESSION_SERVICE, EXTENDED])
P2_S = 0.05
"""The standard's wait for a first answer."""
P2_STAR_S = 5.0
"""The standard's wait after `response pending`."""


def request(identifiers: Sequence[int]) -> bytes:
    """Return the request for identifiers of two bytes each: `22 F4 05`."""
    if not identifiers:
        raise ValueError("a request needs an identifier")
    return single_request(SERVICE, 2, identifiers)


def records(payload: bytes, lengths: Mapping[int, int | None]) -> dict[int, bytes]:
    """Return identifier -> record of a positive answer; ValueError when it does not fit exactly."""
    return split_records(payload, SERVICE, 2, lengths)


@dataclass(frozen=True, slots=True)
class SessionTimes:
    """How long a unit may take: to a first answer, and after `response pending`, in seconds."""

    p2_s: float
    p2_star_s: float


def session_times(payload: bytes) -> SessionTimes:
    """Return the times in a positive answer `50 xx P2 P2 P2* P2*` (1 ms and 10 ms a count)."""
    if len(payload) != 6 or payload[0] != 0x50:
        raise ValueError("no answer to a session request")
    p2, p2_star = int.from_bytes(payload[2:4], "big"), int.from_bytes(payload[4:6], "big")
    return SessionTimes(p2 / 1000, p2_star / 100)
