"""What may be sent to a vehicle: requests that read, and nothing else.

The one exception is a unit's extended session (10 03), which a signal file and the user must both
ask for; it opens identifiers, and nothing is ever written in it.
"""

from warmwatch.signals.uds import DEFAULT_SESSION, EXTENDED_SESSION

READING_SERVICES = frozenset({0x01, 0x09, 0x21, 0x22, 0x3E})
"""Current data, vehicle information, read by local and by common identifier, tester present."""


class NotReading(ValueError):
    """A request that warmwatch must never send; reaching this is a mistake in the program."""


def check_reading(payload: bytes, *, extended: bool = False) -> None:
    """Raise NotReading unless the request's payload reads (or returns to the default session).

    With `extended` the request for the extended session passes, too.
    """
    sessions = (DEFAULT_SESSION, EXTENDED_SESSION) if extended else (DEFAULT_SESSION,)
    if not payload or not (payload[0] in READING_SERVICES or payload in sessions):
        raise NotReading(f"refused to send {payload.hex(' ').upper()}: it does more than read")
