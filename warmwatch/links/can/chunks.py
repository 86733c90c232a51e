"""Reads a serial port by chunks for a driver that takes it byte by byte.

python-can's slcan asks the system for each single byte, which at 2000 frames a second takes most of
a core of a small computer.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import can

_LARGEST = 4096
_REFUSED = b"\a"
"""What an adapter of slcan's text says to a command that it does not take."""


class ChunkedPort:
    """A serial port as pyserial has it; what was read ahead comes first. All else is the port's."""

    def __init__(self, port: Any) -> None:
        self._port = port
        self._ahead = b""
        self._at = 0
        self.refused = False
        """Whether the adapter has refused a command."""

    def __getattr__(self, name: str) -> Any:
        return getattr(self._port, name)

    @property
    def write_timeout(self) -> float | None:
        """How long a write may take, in seconds."""
        timeout: float | None = self._port.write_timeout
        return timeout

    @write_timeout.setter
    def write_timeout(self, seconds: float | None) -> None:
        self._port.write_timeout = seconds

    @property
    def in_waiting(self) -> int:
        """How many bytes can be read without waiting."""
        return len(self._ahead) - self._at or int(self._port.in_waiting)

    def read(self, size: int = 1) -> bytes:
        """Return up to `size` bytes, after the port's own timeout none."""
        if self._at >= len(self._ahead):
            waiting = min(int(self._port.in_waiting), _LARGEST)
            self._ahead, self._at = bytes(self._port.read(max(1, waiting))), 0
            self.refused = self.refused or _REFUSED in self._ahead
        at, self._at = self._at, self._at + size
        return self._ahead[at : self._at]

    def reset_input_buffer(self) -> None:
        """Drop what has come."""
        self._ahead, self._at = b"", 0
        self._port.reset_input_buffer()


def by_chunks(bus: "can.BusABC") -> "can.BusABC":
    """Return the bus; one on a serial port with slcan's text reads it by chunks from now on."""
    from can.interfaces.slcan import slcanBus

    if isinstance(bus, slcanBus):
        bus.serialPortOrig = ChunkedPort(bus.serialPortOrig)
    return bus


def has_refused(bus: "can.BusABC") -> bool:
    """Return whether the adapter of a bus read by chunks has refused a command."""
    port = getattr(bus, "serialPortOrig", None)
    return isinstance(port, ChunkedPort) and port.refused
