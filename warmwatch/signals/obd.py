"""SAE J1979 / ISO 15031-5 service 01: payload bytes in and out, no I/O."""

from collections.abc import Mapping, Sequence

from warmwatch.signals.answers import single_request, split_records

SERVICE = 0x01
MAX_PIDS = 6
"""As many PIDs may stand in one request on CAN (ISO 15031-5)."""
BLOCK = 0x20
BITMAP_LENGTH = 4
MIRROR = 0xF400
"""The PIDs' identifiers under service 22 (OBD over UDS): F400 + PID."""


def request(pids: Sequence[int]) -> bytes:
    """Return the request for one to six PIDs: `01 05 0C`."""
    if not 1 <= len(pids) <= MAX_PIDS:
        raise ValueError("one to six PIDs fit one request")
    return single_request(SERVICE, 1, pids)


def records(payload: bytes, lengths: Mapping[int, int | None]) -> dict[int, bytes]:
    """Return PID -> record of a positive answer; ValueError when it does not fit exactly."""
    return split_records(payload, SERVICE, 1, lengths)


def supported(block: int, bitmap: bytes) -> frozenset[int]:
    """Return the PIDs that the 4-byte answer to `block` (00, 20, 40 ...) offers.

    The top bit of the first byte is block + 1, the lowest of the last is block + 20, which says
    whether the next block may be asked.
    """
    if len(bitmap) != BITMAP_LENGTH:
        raise ValueError("a bitmap has four bytes")
    bits = int.from_bytes(bitmap, "big")
    return frozenset(block + 1 + n for n in range(BLOCK) if bits >> (BLOCK - 1 - n) & 1)
