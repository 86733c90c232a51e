"""`lines:PORT` and `lines:-`: one number a line, or name=value pairs, from anything that prints."""

import os
import queue
import select
import sys
import threading
import time
from collections.abc import Callable, Mapping
from typing import BinaryIO, Protocol

from warmwatch.errors import LinkRefused, UsageError
from warmwatch.links.address import Address
from warmwatch.links.base import WAIT_S, Link
from warmwatch.links.clock import SystemClock
from warmwatch.links.line_text import LineFormat, LineSplitter, UnreadableLine, read_line
from warmwatch.links.live import LiveLink, Polled
from warmwatch.links.tally import Tally

_CHUNK = 65536
_OPTIONS = ("unit", "poll", "decimal", "baud", "usb")


class ByteSource(Protocol):
    """Where the bytes come from."""

    def receive(self) -> bytes:
        """Return what came within WAIT_S; EOFError at the end, LinkLost when it broke."""

    def close(self) -> None:
        """Free it; must not raise."""


def open_address(address: Address, pace: float | None) -> Link:
    """Return the link of a `lines:` address; `pace` is ignored. Raises UsageError."""
    unknown = [name for name in address.options if name not in _OPTIONS]
    if unknown:
        raise UsageError(f"lines: has no option {unknown[0]!r}; it has {', '.join(_OPTIONS)}.")
    form = _format(address)
    poll_s = _positive(address, "poll")
    open_source, hint = _source(address)
    return LiveLink(
        lambda: LinesPort(open_source(), form, hint=hint),
        SystemClock(),
        {"address": str(address), "signals": [_rule(form)]},
        poll_s,
    )


class LinesPort:
    """Turns the lines of one source into values and marks, and tells what it could not read."""

    def __init__(
        self,
        source: ByteSource,
        form: LineFormat,
        *,
        hint: str = "",
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._source = source
        self._form = form
        # A pipe starts at a line's beginning; whoever opens a serial port may be in mid-line.
        self._splitter = LineSplitter(skip_first=bool(hint))
        self._garbage = Tally("A line", "line", hint, now_s)
        self._ended = False

    def poll(self) -> list[Polled]:
        if self._ended:
            raise EOFError
        try:
            lines = self._splitter.receive(self._source.receive())
        except EOFError:
            self._ended = True
            rest = self._splitter.rest()
            lines = [rest] if rest else []
        polled = [item for line in lines if (item := self._read(line)) is not None]
        polled += self._garbage.due(at_end=self._ended)
        return polled

    def close(self) -> None:
        self._source.close()

    def _read(self, line: str) -> Polled | None:
        try:
            return read_line(line, self._form)
        except UnreadableLine as error:
            return self._garbage.seen(line, str(error))


class DescriptorBytes:
    """Reads a file descriptor with bounded waits (POSIX); it stays open, others may use it."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    def receive(self) -> bytes:
        ready, _, _ = select.select([self._descriptor], [], [], WAIT_S)
        if not ready:
            return b""
        data = os.read(self._descriptor, _CHUNK)
        if not data:
            raise EOFError
        return data

    def close(self) -> None:
        """Leave the descriptor to its owner."""


class StreamBytes:
    """Reads a stream that cannot be waited on (pipes on Windows), by a thread of its own.

    The thread is a daemon: nothing can wake it while it waits for a line that never comes.
    """

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._queue: queue.Queue[bytes] = queue.Queue(100)
        self._thread: threading.Thread | None = None

    def receive(self) -> bytes:
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="lines-in", daemon=True)
            self._thread.start()
        try:
            data = self._queue.get(timeout=WAIT_S)
        except queue.Empty:
            return b""
        if not data:
            raise EOFError
        return data

    def close(self) -> None:
        """Leave the stream to its owner."""

    def _run(self) -> None:
        try:
            while data := self._stream.readline(_CHUNK):
                self._queue.put(data)
        except (OSError, ValueError):  # closed under us: for the reader that is the end
            pass
        self._queue.put(b"")


def _source(address: Address) -> tuple[Callable[[], ByteSource], str]:
    if address.rest == "-":
        return _standard_input, ""
    from warmwatch.links.byte_port import PortOpener

    baud = int(_positive(address, "baud") or 9600)
    opener = PortOpener(address.rest, baud, address.options.get("usb", ""))
    return opener.open, f" If all are like this, another speed may help than ?baud={baud}."


def _standard_input() -> ByteSource:
    if sys.stdin is None:
        raise LinkRefused("There is no standard input to read: start warmwatch from a terminal.")
    stream = sys.stdin.buffer
    try:
        descriptor = stream.fileno()
    except OSError:  # a stream in memory has none
        return StreamBytes(stream)
    return StreamBytes(stream) if sys.platform == "win32" else DescriptorBytes(descriptor)


def _format(address: Address) -> LineFormat:
    unit = address.options.get("unit", "C").upper()
    if unit not in ("C", "F"):
        raise UsageError(f"?unit={unit} is not a unit here: write C or F.")
    decimal = address.options.get("decimal", "point")
    if decimal not in ("point", "comma"):
        raise UsageError(f"?decimal={decimal} is unknown: write point or comma.")
    return LineFormat(unit, decimal == "comma")


def _rule(form: LineFormat) -> Mapping[str, object]:
    """Return for the recording how a line's number is read."""
    decimal = "comma" if form.decimal_comma else "point"
    return {"name": "fluid_c", "text": "number", "unit": form.unit, "decimal": decimal}


def _positive(address: Address, name: str) -> float | None:
    text = address.options.get(name)
    if text is None:
        return None
    try:
        number = float(text)
    except ValueError:
        number = 0.0
    if not 0.0 < number < 1e9:
        raise UsageError(f"?{name}={text} must be a number above 0.")
    return number
