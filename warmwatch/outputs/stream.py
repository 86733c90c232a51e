"""Where lines are written: a stream that a reader who pauses can hold up, but not at the exit."""

import os
import select
import sys
from typing import Protocol, TextIO

WAIT_S = 0.2


class Sink(Protocol):
    """What an output of lines needs of its stream."""

    def write(self, text: str, /) -> object: ...
    def flush(self) -> object: ...


class Unbuffered:
    """Writes text to a file descriptor at once.

    A thread that is stuck in Python's own buffered stream holds its lock, and the interpreter could
    not end; here there is no lock and nothing left to flush.
    """

    def __init__(self, descriptor: int, encoding: str) -> None:
        self._descriptor = descriptor
        self._encoding = encoding

    def write(self, text: str, /) -> int:
        data = memoryview(text.encode(self._encoding, "replace"))
        while data:
            try:
                data = data[os.write(self._descriptor, data) :]
            except BlockingIOError:  # whoever shares the descriptor has set it so
                select.select([], [self._descriptor], [], WAIT_S)
        return len(text)

    def flush(self) -> None:
        """Nothing: all of it was written."""


def own_stream(stream: TextIO) -> Sink:
    """Return what writes to the same place without a buffer; the stream itself where it has none.

    A Windows console takes text by other ways than its descriptor, so there it stays as it is.
    """
    if sys.platform == "win32":
        return stream
    try:
        stream.flush()
        return Unbuffered(stream.fileno(), stream.encoding)
    except (OSError, ValueError):
        return stream
