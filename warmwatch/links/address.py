"""A link's address: `KIND:REST?option=value&option=value`.

A bare path ending in .csv means csv:, a bare serial port serial:, a bare CAN channel can:.
"""

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import parse_qsl

from warmwatch.errors import UsageError
from warmwatch.links.kinds import KINDS, Kind

# The names that Windows, Linux, macOS and FreeBSD give to serial ports, and Linux to CAN channels.
_SERIAL_PORT = re.compile(
    r"COM\d+|/dev/(tty\w+|rfcomm\d+|pts/\d+|(tty|cu)\..+|serial/.+|cuaU\d+)|socket://.+",
    re.IGNORECASE,
)
_CAN_CHANNEL = re.compile(r"(v|sl)?can\d+", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Address:
    """Where readings come from."""

    kind: str
    rest: str
    options: Mapping[str, str] = field(default_factory=dict)

    @property
    def about_kind(self) -> Kind:
        """The record of its kind."""
        return KINDS[self.kind]

    def __str__(self) -> str:
        tail = "&".join(f"{key}={value}" for key, value in self.options.items())
        return f"{self.kind}:{self.rest}" + (f"?{tail}" if tail else "")


def parse_address(text: str) -> Address:
    """Return the Address for a text; UsageError names the known kinds when it is none."""
    path, tail = _split_options(text)
    kind, colon, rest = path.partition(":")
    if colon and kind in KINDS:
        return Address(kind, rest, _options(text, tail))
    options = _options(text, tail)
    if _SERIAL_PORT.fullmatch(path):
        return Address("serial", path, options)
    if _CAN_CHANNEL.fullmatch(path):
        return Address("can", path, {"interface": "socketcan", **options})
    return Address(_kind_of_file(text, path), path, options)


def _kind_of_file(text: str, path: str) -> str:
    for kind in KINDS.values():
        if path.lower().endswith(kind.endings or ("\0",)):
            return kind.name
    if os.path.isfile(path):
        raise UsageError(f"{text!r} is a file without the ending .csv: write csv:{text}.")
    known = ", ".join(f"{name}:" for name in KINDS)
    raise UsageError(
        f"{text!r} is not a link address: name a port, as COM5 or /dev/ttyUSB0, a .csv file, or "
        f"begin with one of {known}."
    )


def _split_options(text: str) -> tuple[str, str]:
    """Return the address without its options, and these; a file's name may hold question marks."""
    for mark in re.finditer(r"\?|$", text):
        path, tail = text[: mark.start()], text[mark.end() :]
        if os.path.isfile(path.removeprefix("csv:").removeprefix("log:")):
            return path, tail
    path, _, tail = text.partition("?")
    return path, tail


def _options(text: str, tail: str) -> dict[str, str]:
    if not tail:
        return {}
    try:
        pairs = parse_qsl(tail, keep_blank_values=True, strict_parsing=True)
    except ValueError:
        raise UsageError(
            f"The options in {text!r} cannot be read: write ?name=value&name=value."
        ) from None
    return dict(pairs)
