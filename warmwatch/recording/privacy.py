"""What of a link's address goes into a recording: what is needed to judge it, and no more.

A recording and its proof are given away. File names, kinds of link, speeds and columns say how the
readings came about. Folders (which name people), network addresses, serial numbers of adapters and
the like say only whose workshop it was.
"""

import re
from collections.abc import Mapping

_PRIVATE = frozenset({"usb", "host", "user", "password", "token", "key"})
_PORT = re.compile(r"-|COM\d{1,3}|tty[A-Z]{1,4}\d{1,3}|rfcomm\d{1,2}|(sl|v|vx)?can\d{1,2}|\d{1,2}")
_NAME = re.compile(r"[A-Za-z_][\w.]{0,40}")
_HOST = re.compile(r"(\d{1,3}\.){3}\d{1,3}(:\d+)?|\[?[0-9a-fA-F]*(:[0-9a-fA-F]*){2,}\]?(:\d+)?")
_FILES = frozenset({"csv", "log"})
_BEGINS_WITH_A_FOLDER = re.compile(r"(?:[A-Za-z]:)?(?:[~.]{0,2}[/\\])")


def shared_address(address: str) -> str:
    r"""Return a link's address without what is nobody else's business.

    >>> shared_address("csv:/home/me/customers/Miller/drive.csv?unit=F")
    'csv:drive.csv?unit=F'
    >>> shared_address("serial:/dev/ttyUSB0?baud=38400&signals=C:\\Users\\me\\my.toml")
    'serial:ttyUSB0?baud=38400&signals=my.toml'
    >>> shared_address("serial:socket://192.168.1.20:47110?usb=A12345")
    'serial:socket://'
    """
    kind, _, rest = address.partition(":")
    path, _, tail = rest.partition("?")
    options = "&".join(_shared_options(tail))
    return f"{kind}:{_shared_rest(kind, path)}" + (f"?{options}" if options else "")


def _shared_rest(kind: str, path: str) -> str:
    scheme, found, _ = path.partition("://")
    if found:
        return f"{scheme}://"
    name = _last(path)
    return name if kind in _FILES or _PORT.fullmatch(name) else ""


def _shared_options(tail: str) -> list[str]:
    pairs = (pair.partition("=") for pair in tail.split("&"))
    return [
        f"{name}={_last(value)}"
        for name, _, value in pairs
        if _NAME.fullmatch(name) and name not in _PRIVATE and not _HOST.fullmatch(value)
    ]


def shared_facts(about: Mapping[str, object]) -> dict[str, object]:
    """Return what a link says about itself, likewise."""
    return {name: _shared(name, value) for name, value in about.items() if name not in _PRIVATE}


def _shared(name: str, value: object) -> object:
    if isinstance(value, Mapping):
        return shared_facts(value)
    if isinstance(value, list | tuple):
        return [_shared("", one) for one in value]
    if not isinstance(value, str):
        return value
    if name == "address":
        return shared_address(value)
    return _last(value) if _BEGINS_WITH_A_FOLDER.match(value) else value


def _last(path: str) -> str:
    return re.split(r"[/\\]", path)[-1]
