"""What may be sent to a vehicle: requests that read, and nothing else."""

from warmwatch.signals.uds import DEFAULT_SESSION

READING_SERVICES = frozenset({0x01, 0x09, 0x22, 0x3E})
"""Current data, vehicle information, read by identifier, tester present."""


class NotReading(ValueError):
    """A request that warmwatch must never send; reaching this is a mistake in the program."""


def check_reading(payload: bytes) -> None:
    """Raise NotReading unless the request's payload reads (or returns to the default session)."""
    if not payload or not (payload[0] in READING_SERVICES or payload == DEFAULT_SESSION):
        raise NotReading(f"refused to send {payload.hex(' ').upper()}: it does more than read")
