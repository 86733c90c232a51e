"""Serial ports, and TCP ports by `socket://host:port`, as bytes with bounded waits.

The only module that touches pyserial. Every failure becomes LinkLost, or LinkRefused while the
port was never open, with a sentence that says what to try.
"""

import errno
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import serial
from serial.tools import list_ports

from warmwatch.errors import LinkError, LinkLost, LinkRefused, UsageError
from warmwatch.links.base import WAIT_S
from warmwatch.links.keeping import Keeper, current_keeper

_BUSY_TRIES = 3
_BUSY_PAUSE_S = 0.7
_CHUNK = 4096
_BUSY = (errno.EBUSY, errno.EAGAIN)
_ABSENT = (errno.ENOENT, errno.ENODEV, errno.ENXIO)


def _port_errors() -> tuple[type[Exception], ...]:
    # Setting a port's speed raises termios.error on POSIX, and that is no OSError.
    if sys.platform == "win32":
        return (OSError,)
    import termios

    return (OSError, termios.error)


_PORT_ERRORS = _port_errors()


@dataclass(frozen=True, slots=True)
class PortSeen:
    """One port of this computer; `usb_serial` is empty where there is none."""

    name: str
    meaning: str = ""
    usb_serial: str = ""


def ports_seen() -> list[PortSeen]:
    """Return the ports that this computer has now. Do not call it while a port is being opened."""
    return [
        PortSeen(port.device, port.description or "", port.serial_number or "")
        for port in sorted(list_ports.comports(), key=lambda port: str(port.device))
    ]


class BytePort:
    """One opened port."""

    def __init__(self, port: Any, name: str, keeper: Keeper | None = None) -> None:
        self._port = port
        self._keeper = keeper
        self.name = name

    def receive(self) -> bytes:
        """Return what came within WAIT_S, as soon as something did. Raises LinkLost."""
        try:
            data = bytes(self._port.read(1))
            while data and len(data) < _CHUNK and (waiting := self._port.in_waiting):
                data += self._port.read(min(waiting, _CHUNK))
        except _PORT_ERRORS as error:
            raise self._lost(error) from error
        if self._keeper is not None:
            self._keeper.text(data)
        return data

    def send(self, data: bytes) -> None:
        """Send all of `data`. Raises LinkLost."""
        try:
            self._port.write(data)
        except _PORT_ERRORS as error:
            raise self._lost(error) from error
        if self._keeper is not None:
            self._keeper.text(data, sent=True)

    def set_baud(self, baud: int) -> None:
        """Change the speed and drop what came at the old one. Raises LinkLost."""
        try:
            self._port.baudrate = baud
            self._port.reset_input_buffer()
        except _PORT_ERRORS as error:
            raise self._lost(error) from error

    def close(self) -> None:
        """Free the port; never raises."""
        # pyserial forgets its socket unclosed when the far end went first (ENOTCONN on shutdown)
        connection = getattr(self._port, "_socket", None)
        try:
            self._port.close()
        except _PORT_ERRORS:
            pass
        finally:
            if connection is not None:
                connection.close()

    def _lost(self, error: Exception) -> LinkLost:
        return LinkLost(
            f"The connection to {self.name} broke ({_why(error)}): check cable and power."
        )


class PortOpener:
    """Opens one address again and again; it follows a USB port that comes back under a new name.

    `usb_serial` names the port by its USB serial number from the start; without it the number is
    learned at the first opening.
    """

    def __init__(
        self,
        name: str,
        baud: int,
        usb_serial: str = "",
        ports: Callable[[], Iterable[PortSeen]] = ports_seen,
    ) -> None:
        if not name and not usb_serial:
            raise UsageError(f"Which port? This computer has {port_names(ports())}.")
        self._name = name
        self._baud = baud
        self._usb_serial = usb_serial
        self._ports = ports
        self._keeper = current_keeper()
        self._opened_once = False

    def open(self) -> BytePort:
        """Return the port, opened. Raises LinkRefused at first, LinkLost once it was open."""
        name = self._current_name()
        try:
            port = _open(name, self._baud)
        except UsageError:
            raise
        except LinkError as error:
            raise self._told(name, error) from error
        if not self._opened_once:
            self._opened_once = True
            self._learn_usb_serial(name)
        self._name = name
        return BytePort(port, name, self._keeper)

    def _current_name(self) -> str:
        if not self._usb_serial or "://" in self._name:
            return self._name
        same = [port.name for port in self._ports() if port.usb_serial == self._usb_serial]
        if not same and not self._name:
            raise self._told(
                f"usb={self._usb_serial}", LinkLost("no port has this USB serial number")
            )
        return self._name if self._name in same or not same else same[0]

    def _learn_usb_serial(self, name: str) -> None:
        if not self._usb_serial and "://" not in name:
            found = [port.usb_serial for port in self._ports() if port.name == name]
            self._usb_serial = found[0] if found else ""

    def _told(self, name: str, error: LinkError) -> LinkError:
        kind = LinkLost if self._opened_once else LinkRefused
        seen = "" if "://" in name else f" This computer has {port_names(self._ports())}."
        return kind(f"{name} cannot be opened: {error}.{seen}")


def port_names(ports: Iterable[PortSeen]) -> str:
    """Return the ports as one phrase."""
    return ", ".join(port.name for port in ports) or "no serial ports"


def _open(name: str, baud: int) -> Any:
    for _ in range(_BUSY_TRIES - 1):
        try:
            return _open_once(name, baud)
        except _PortBusy:
            time.sleep(_BUSY_PAUSE_S)
    return _open_once(name, baud)


class _PortBusy(LinkLost):
    """Another program holds the port; it may let go soon."""


def _open_once(name: str, baud: int) -> Any:
    exclusive = {} if sys.platform == "win32" or "://" in name else {"exclusive": True}
    try:
        return serial.serial_for_url(
            name, baudrate=baud, timeout=WAIT_S, write_timeout=1.0, **exclusive
        )
    except ValueError as error:
        raise UsageError(f"{name!r} is not a port that can be opened: {error}.") from None
    except _PORT_ERRORS as error:
        raise _explained(name, error) from error


def _explained(name: str, error: Exception) -> LinkLost:
    number = getattr(error, "errno", None)
    text = str(error)
    if "://" in name:
        return LinkLost(
            f"nothing answers there, {_socket_why(error)} (is it on, and this computer in its "
            f"network?)"
        )
    if number in _BUSY or (sys.platform == "win32" and "PermissionError" in text):
        return _PortBusy("another program holds it (close that program)")
    if number == errno.EACCES:
        return LinkLost(
            "no permission (let your user into the group that owns it, often dialout or uucp, "
            "and log in again)"
        )
    if f"({errno.ENOTTY}," in text:  # pyserial wraps the system's (number, words)
        return LinkLost("it is not a serial port")
    if number in _ABSENT or "FileNotFoundError" in text:
        return LinkLost("there is no such port (is it plugged in?)")
    return LinkLost(_why(error))


def _socket_why(error: Exception) -> str:
    return (
        _why(error).rpartition("] ")[2].lower()
    )  # pyserial wraps `[Errno 111] Connection refused`


def _why(error: Exception) -> str:
    return str(error).splitlines()[0].rstrip(".") if str(error) else type(error).__name__
