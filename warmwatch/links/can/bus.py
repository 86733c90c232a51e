"""Opens a CAN interface through python-can, and says in plain words why it cannot."""

import errno
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from warmwatch.errors import LinkLost, LinkRefused, UsageError
from warmwatch.links.address import Address
from warmwatch.links.byte_port import PortSeen, port_names, ports_seen
from warmwatch.links.can.bitrate import Bitrates, traffic
from warmwatch.links.can.bus_names import check_names
from warmwatch.links.can.chunks import by_chunks
from warmwatch.links.can.frames import NO_TEXT_WORDS, is_no_text
from warmwatch.links.keeping import current_keeper, keep_bus

if TYPE_CHECKING:
    import can


def bus_options(address: Address, own: frozenset[str]) -> dict[str, object]:
    """Return the options that go to python-can as they are; `own` are ours and stay here."""
    if not address.rest:
        raise UsageError(f"{address.kind}: needs a channel: write {address.kind}:CHANNEL?...")
    options = {key: _typed(value) for key, value in address.options.items() if key not in own}
    if "interface" not in options:
        raise UsageError(
            f"{address.kind}:{address.rest} needs interface=NAME, a CAN interface type that "
            f"python-can knows, such as socketcan, slcan or virtual."
        )
    check_names(str(options["interface"]), options, own)
    return options


WAKING_S = (0.3, 2.0)
"""How long a text port is waited for after its opening, in turn while nobody answers."""


class BusOpener:
    """Opens one channel again and again; it follows a USB serial port that gets another name.

    `usb_serial` is the port's USB serial number; without it the number is learnt at the first
    opening, where the channel is such a port at all.
    """

    def __init__(
        self,
        channel: str,
        options: Mapping[str, object],
        usb_serial: str = "",
        ports: Callable[[], Iterable[PortSeen]] = ports_seen,
    ) -> None:
        self.given = options
        self._channel = channel
        self._interface = str(options.get("interface"))
        self._usb_serial = usb_serial
        self._ports = ports
        self._keeper = current_keeper()
        self._opened_once = False
        self._woken = self._last_woken = 0
        self.bitrates = Bitrates(options)

    def open(self) -> "can.BusABC":
        """Return an open bus. Raises LinkRefused while it never opened before, then LinkLost."""
        channel = self._current_channel()
        bus = self._opened(
            channel, self.bitrates.options(lambda options: self._opened(channel, options))
        )
        self._last_woken, self._woken = self._woken, self._woken + 1
        if not self._opened_once:
            self._opened_once = True
            self._learn_usb_serial(channel)
        return bus

    def keep(self) -> None:
        """Units answered: open it in the same way again."""
        self._woken = self._last_woken
        self.bitrates.keep()

    def traffic(self) -> int | None:
        """Return the bitrate at which frames are heard, None for none. Raises LinkError."""
        channel = self._current_channel()
        options = {**self.bitrates.options(lambda options: self._opened(channel, options))}
        return traffic(options, lambda options: self._opened(channel, options))

    def _opened(self, channel: str, options: Mapping[str, object]) -> "can.BusABC":
        from warmwatch.links.python_can import can

        keywords: dict[str, Any] = dict(options)
        if self._interface == "slcan":
            # Adapters that restart when the port is opened need the longer time.
            keywords.setdefault("sleep_after_open", WAKING_S[self._woken % len(WAKING_S)])
        try:
            bus = by_chunks(can.Bus(channel=channel, ignore_config=True, **keywords))
            return keep_bus(bus, self._keeper)
        except (can.CanInterfaceNotImplementedError, NotImplementedError) as error:
            raise LinkRefused(
                f"python-can cannot use interface={keywords['interface']} ({_why(error)}): check "
                f"the name, and install the driver that it needs."
            ) from error
        except (TypeError, ValueError) as error:
            raise LinkRefused(
                f"interface={keywords['interface']} does not take these options: {_why(error)}."
            ) from error
        except (can.CanError, OSError) as error:
            kind = LinkLost if self._opened_once else LinkRefused
            raise kind(
                f"{channel} cannot be opened: {_explained(error)}.{self._seen(channel)}"
            ) from error

    def _current_channel(self) -> str:
        if not self._usb_serial:
            return self._channel
        same = [port.name for port in self._ports() if port.usb_serial == self._usb_serial]
        return self._channel if self._channel in same or not same else same[0]

    def _learn_usb_serial(self, channel: str) -> None:
        if not self._usb_serial and _is_serial_port(channel):
            found = [port.usb_serial for port in self._ports() if port.name == channel]
            self._usb_serial = found[0] if found else ""

    def _seen(self, channel: str) -> str:
        if not (_is_serial_port(channel) or self._interface == "slcan"):
            return ""
        return f" This computer has {port_names(self._ports())}."


def _is_serial_port(channel: str) -> bool:
    return channel.startswith(("/dev/", "COM"))


def seconds_option(options: Mapping[str, str], key: str, default: float) -> float:
    """Return a number of seconds above 0 and up to an hour."""
    if key not in options:
        return default
    try:
        seconds = float(options[key])
    except ValueError:
        seconds = 0.0
    if not 0.0 < seconds <= 3600.0:
        raise UsageError(f"{key}={options[key]} is not a number of seconds above 0.")
    return seconds


def lost(channel: str, error: Exception) -> LinkLost:
    """Return why an open bus failed, in words; what a driver cannot decode is no lost adapter."""
    if is_no_text(error):
        return LinkLost(f"{channel} {NO_TEXT_WORDS}.")
    return LinkLost(f"{channel} is gone: {_why(error)}.")


def close_bus(bus: "can.BusABC") -> None:
    """Free the bus; a lost adapter's driver may fail at that in any way, and it does not matter."""
    with suppress(Exception):
        bus.shutdown()


_KNOWN = {
    errno.ENOENT: "there is no such port: check that the adapter is plugged in",
    errno.ENODEV: "there is no such interface: check that the adapter is plugged in",
    errno.ENXIO: "there is no such interface: check that the adapter is plugged in",
    errno.EBUSY: "another program holds it: close that program",
    errno.EAFNOSUPPORT: "this computer's system has no such kind of interface",
    errno.ENETDOWN: "the interface is down: bring it up with the vehicle's bitrate",
    errno.EACCES: "no permission: let your user into the group that owns it (often dialout or "
    "uucp) and log in again",
}


def _explained(error: BaseException) -> str:
    cause: BaseException | None = error
    while cause is not None:
        number = getattr(cause, "errno", None)
        if number in _KNOWN:
            return _KNOWN[number]
        cause = cause.__cause__ or cause.__context__
    why = _why(error)
    if "bitrate" in why.lower():
        return why
    return f"{why}: check that the adapter is plugged in and no other program uses it"


def _typed(text: str) -> object:
    if text.lower() in ("true", "false"):
        return text.lower() == "true"
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def _why(error: BaseException) -> str:
    return " ".join(str(error).split()).rstrip(".") or type(error).__name__
