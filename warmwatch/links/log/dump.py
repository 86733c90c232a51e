"""Reads text dumps of a bus, a line a frame, that python-can has no reader for: with `[8]`.

` (1436509052.249713)  can0  18FEF803   [8]  FF FF FF FF C0 2C FF FF`; the time must be there.
"""

import re
from collections.abc import Iterator
from typing import Protocol

from warmwatch.links.python_can import can

_LINE = re.compile(
    r"\s*\((?P<time>\d+(?:\.\d+)?)\)\s+(?P<bus>\S+)\s+(?:(?:RX|TX)\s+(?:[-BE]\s+)*)?"
    r"(?P<id>[0-9A-Fa-f]{3}|[0-9A-Fa-f]{8})\s+\[(?P<length>\d{1,2})\]\s*(?P<rest>.*)"
)
_TIMELESS = re.compile(r"\s*\S+\s+(?:[0-9A-Fa-f]{3}|[0-9A-Fa-f]{8})\s+\[\d{1,2}\]")
_ERROR = 0x20000000
_NARROW_DIGITS = 3
_LONGEST = 8


def is_dump(line: str) -> bool:
    """True for a line of such a dump, with or without a time."""
    return bool(_LINE.match(line) or _TIMELESS.match(line))


class Lines(Protocol):
    """Lines of text to iterate once, and to close."""

    def __iter__(self) -> Iterator[str]: ...

    def close(self) -> None: ...


class DumpReader:
    """Yields the frames of `file`; it can be iterated on after a ValueError."""

    def __init__(self, file: Lines) -> None:
        self.file = file

    def __iter__(self) -> Iterator[can.Message]:
        for line in self.file:
            if not line.isspace():
                yield _frame(line)

    def stop(self) -> None:
        """Close the file."""
        self.file.close()


def _frame(line: str) -> can.Message:
    match = _LINE.fullmatch(line.rstrip("\r\n"))
    if match is None:
        raise ValueError("no time in brackets" if _TIMELESS.match(line) else "no frame")
    at_s, bus, number = float(match["time"]), match["bus"], int(match["id"], 16)
    if match["rest"].startswith("ERRORFRAME") or number & _ERROR:
        return can.Message(timestamp=at_s, channel=bus, is_error_frame=True)
    wide = len(match["id"]) > _NARROW_DIGITS
    length = int(match["length"])
    remote = match["rest"].startswith("remote")
    data = b"" if remote else bytes.fromhex("".join(match["rest"].split()[:length]))
    if len(data) != length and not remote:
        raise ValueError(f"{len(data)} bytes instead of {length}")
    return can.Message(
        timestamp=at_s,
        channel=bus,
        arbitration_id=number,
        is_extended_id=wide,
        is_remote_frame=remote,
        dlc=length,
        data=None if remote else data,
        is_fd=length > _LONGEST,
    )
