"""Takes whole frames from a bus and leaves out what a serial adapter's text lost or gained."""

from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import can

MOST_NO_TEXT = 20
"""So many lines in a row with bytes that are no text, and no whole frame between: not a slip."""


NO_TEXT_WORDS = (
    "sends something that is not text: check the cable, and the speed of its port as "
    "python-can names it for this interface"
)


class UnreadableFrame(Exception):
    """What came is no whole frame: the text of a serial adapter was cut or garbled."""


class FrameReader:
    """Owns nothing: reads from `bus`, whose owner closes it.

    `no_text` counts the lines that were no text since the last whole frame.
    """

    def __init__(self, bus: "can.BusABC") -> None:
        from can.interfaces.slcan import slcanBus

        self._bus = bus
        self._text_bus = bus if isinstance(bus, slcanBus) else None
        self.no_text = 0

    def receive(self, timeout_s: float) -> "can.Message | None":
        """Wait up to `timeout_s` for a frame.

        Raises UnreadableFrame, and what else the driver does.
        """
        from warmwatch.links.python_can import can

        try:
            message = self._bus.recv(timeout_s)
        except (ValueError, IndexError) as error:
            raise UnreadableFrame(str(error)) from error
        except can.CanOperationError as error:
            if not self._left_behind(error):
                raise
            raise UnreadableFrame("bytes that are no text") from error
        if message is None or message.is_error_frame or message.is_remote_frame:
            return message
        if message.is_fd and self._text_bus is not None:
            # `B` and `D` are digits and heads of long frames, too: no such frame is asked for.
            raise UnreadableFrame("the end of a line, which looks like the head of another")
        if len(message.data) != message.dlc:
            raise UnreadableFrame(f"{len(message.data)} bytes instead of {message.dlc}")
        self.no_text = 0
        return message

    def _left_behind(self, error: Exception) -> bool:
        """Drop a line that the driver cannot decode and would stumble over for ever.

        What waits behind it goes, too: frames, and the head of a line whose end is none.
        """
        from warmwatch.links.python_can import can

        self.no_text += 1
        bus = self._text_bus
        if bus is None or not is_no_text(error) or self.no_text > MOST_NO_TEXT:
            return False
        with suppress(can.CanError, OSError):  # a port that is gone says so at the next reading
            bus.flush()
        return True


def is_no_text(error: Exception) -> bool:
    """True when the driver failed at decoding what came, and not at reading it."""
    return isinstance(error.__cause__ or error.__context__, UnicodeDecodeError)
