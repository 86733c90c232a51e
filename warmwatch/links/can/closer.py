"""What is really there, when nobody answers on a CAN channel: another device, another bitrate."""

from collections.abc import Mapping

from warmwatch.errors import LinkError
from warmwatch.links.asking.silent import WrongSetUp
from warmwatch.links.can.bitrate import AUTO
from warmwatch.links.can.bus import BusOpener


def looked_closer(
    channel: str, options: Mapping[str, object], buses: BusOpener
) -> LinkError | None:
    """Return a better reason for the silence, None where there is none.

    The bus must be closed. Takes some seconds.
    """
    try:
        if options.get("interface") == "slcan":
            wrong = _other_device(channel, options)
            if wrong is not None:
                return wrong
        return _other_bitrate(options, buses)
    except LinkError:
        return None


def _other_device(channel: str, options: Mapping[str, object]) -> WrongSetUp | None:
    from warmwatch.links.trying.finding import recognise

    found = recognise(channel)
    speed = options.get("tty_baudrate", 115200)
    if found.kind == "serial":
        return WrongSetUp(
            f"at {channel} is a text adapter that takes AT commands, no frame adapter",
            f"use serial:{channel}",
        )
    if found.kind == "lines":
        return WrongSetUp(f"at {channel} is {found.seen}", f"use {found.address}")
    if found.kind == "can" and found.speed != speed:
        return WrongSetUp(
            f"the frame adapter at {channel} answers at {found.speed} baud, not at {speed}",
            f"tty_baudrate={found.speed}",
        )
    if not found.kind:
        return WrongSetUp(
            f"nothing at {channel} answers as a frame adapter does ({found.seen})",
            "check its power, or give the speed of its port (tty_baudrate=)",
        )
    return None


def _other_bitrate(options: Mapping[str, object], buses: BusOpener) -> WrongSetUp | None:
    given = options.get("bitrate")
    if given in (None, AUTO):
        return None
    heard = buses.traffic()
    if heard not in (None, given):
        return WrongSetUp(
            f"the bus carries frames at {heard} bit/s, not at {given}",
            f"bitrate={heard}, or bitrate=auto",
        )
    return None
