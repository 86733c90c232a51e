"""`bitrate=auto`: finds a bus's speed by listening, and asks at the usual ones where it is quiet.

ISO 15765-4 lets a tester try 500 and 250 kbit/s on the diagnostic plug (from memory, no source
seen); a bus behind a gateway says nothing by itself, so that listening finds none.
"""

import time
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from warmwatch.links.can.bus_names import takes
from warmwatch.links.can.frames import FrameReader, UnreadableFrame

if TYPE_CHECKING:
    import can

AUTO = "auto"
HEARD = (500000, 250000, 125000, 1000000)
"""Bit/s that are listened to, the likeliest first."""
ASKED = (500000, 250000)
LISTEN_S = 0.3
SET_ELSEWHERE = frozenset({"socketcan", "virtual", "udp_multicast"})
"""Interfaces whose bitrate python-can does not set."""

Open = Callable[[Mapping[str, object]], "can.BusABC"]


class Bitrates:
    """The bitrate of one channel: given, or found and remembered. `words` say how it is known."""

    def __init__(self, options: Mapping[str, object]) -> None:
        self._options = {key: value for key, value in options.items() if key != "bitrate"}
        self._interface = str(options.get("interface"))
        given = options.get("bitrate")
        self._auto = given == AUTO
        self._known = None if self._auto else given
        self._asked = 0
        self.words = _given_words(self._interface, given)
        self.sure = False

    def options(self, open_bus: Open) -> dict[str, object]:
        """Return the options to open the bus with; `open_bus` is used to listen first."""
        if self._auto and self._interface not in SET_ELSEWHERE:
            bitrate = self._known or self._heard(open_bus) or self._next()
            return {**self._options, "bitrate": bitrate}
        known = {} if self._known is None else {"bitrate": self._known}
        return {**self._options, **known}

    def keep(self) -> None:
        """Units answered: what was tried last is right."""
        if self._auto and self._known is None and self._asked:
            self._known = ASKED[(self._asked - 1) % len(ASKED)]

    def _heard(self, open_bus: Open) -> int | None:
        found = traffic(self._options, open_bus)
        if found is not None:
            self._known, self.sure = found, True
            self.words = f"{found} bit/s, found by listening"
        return found

    def _next(self) -> int:
        bitrate = ASKED[self._asked % len(ASKED)]
        self._asked += 1
        heard = "nothing was heard" if takes(self._interface, "listen_only") else "not listened to"
        self.words = f"{bitrate} bit/s is tried ({heard})"
        return bitrate


def traffic(options: Mapping[str, object], open_bus: Open) -> int | None:
    """Return the bitrate at which frames are heard; None where none is, or none can be listened to.

    Listens only: an adapter that cannot be set to that is not opened, since at a wrong bitrate it
    would disturb the bus. Raises LinkError when the interface cannot be opened.
    """
    if not takes(str(options["interface"]), "listen_only"):
        return None
    more: dict[str, object] = {"listen_only": True}
    for bitrate in HEARD:
        bus = open_bus({**options, **more, "bitrate": bitrate})
        try:
            if _hears(FrameReader(bus)):
                return bitrate
        finally:
            bus.shutdown()
        if takes(str(options["interface"]), "sleep_after_open"):
            more["sleep_after_open"] = 0.05  # it has woken up by now
    return None


def _hears(reader: FrameReader) -> bool:
    until_s = time.monotonic() + LISTEN_S
    while (left_s := until_s - time.monotonic()) > 0:
        try:
            message = reader.receive(left_s)
        except UnreadableFrame:
            continue
        if message is not None and not message.is_error_frame:
            return True
    return False


def _given_words(interface: str, given: object) -> str:
    if interface == "socketcan":
        words = "as the system has set it: ip -details link show"
        return words + ("; bitrate= has no effect on this interface" if given is not None else "")
    if given is None:
        return "as the adapter has it; bitrate= sets it, bitrate=auto finds it"
    return f"{given} bit/s as given; only answers show whether it is right"
