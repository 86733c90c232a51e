"""Which ports this computer has, what is at each of them, and the address that reads it.

    before = ports()
    ...                                  # the adapter is plugged in
    for port in appeared(before, ports()):
        found = recognise(port.name)     # Recognised(kind, address, seen, ...)

`recognise` says an empty line and two questions, and nothing that reaches a vehicle.
"""

import re
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from warmwatch.errors import LinkError, UsageError
from warmwatch.links.byte_port import BytePort, PortOpener, PortSeen, ports_seen
from warmwatch.links.line_text import LineFormat, UnreadableLine, read_line
from warmwatch.links.live import Values

SPEEDS = (115200, 38400, 9600, 57600, 230400)
NUMBER_SPEEDS = (9600, 115200, 38400)
LISTEN_S, ANSWER_S, NUMBERS_S = 0.1, 0.25, 1.3
"""How long a port is listened to before anything is said, for an answer, and for a number."""
QUESTION, WHO = b"\rV\r", b"ATI\r"
"""An empty line, and what asks a frame adapter for its version; and a text adapter for its name."""
_LINES_SPEED = 9600
_PROMPT = b">"
_FRAME = re.compile(rb"[tTrR][0-9A-Fa-f]{4,}")
_VERSION = re.compile(rb"\AV[0-9A-Fa-f]{2,6}\Z")
_BELL = 7
_CAN_DEVICE = "280"
"""The kind of network device that the Linux kernel gives CAN interfaces (ARPHRD_CAN)."""


@dataclass(frozen=True, slots=True)
class Recognised:
    """What is at a port. `kind` is a link kind, or empty where it was not recognised.

    `address` opens it (empty with `kind`); a CAN adapter's bitrate is found as it is opened.
    `speed` is the port's speed in baud. `seen` says in words what was seen, `advice` what to do.
    """

    port: str
    kind: str = ""
    address: str = ""
    speed: int = 0
    seen: str = ""
    advice: str = ""


_NOTHING = (
    "power the adapter (plug it in, ignition on), close other programs, or give the speed (baud=)"
)


def ports() -> list[PortSeen]:
    """Return the serial ports that this computer has now, most likely adapters first."""
    return sorted(ports_seen(), key=lambda port: (not port.usb_serial, not port.meaning, port.name))


def appeared(before: Iterable[PortSeen], after: Iterable[PortSeen]) -> list[PortSeen]:
    """Return the ports in `after` that were not there `before`."""
    known = {port.name for port in before}
    return [port for port in after if port.name not in known]


def can_interfaces() -> list[Recognised]:
    """Return the CAN interfaces of this computer's system, which it calls by name."""
    found = []
    for kind in sorted(Path("/sys/class/net").glob("*/type")):
        with suppress(OSError):
            if kind.read_text(encoding="ascii").strip() == _CAN_DEVICE:
                name = kind.parent.name
                address = f"can:{name}?interface=socketcan"
                found.append(Recognised(name, "can", address, seen="a CAN interface of the system"))
    return found


def recognise(name: str, speeds: Sequence[int] = SPEEDS) -> Recognised:
    """Return what is at the port `name`; never raises, and takes some seconds at most."""
    try:
        port = PortOpener(name, speeds[0]).open()
    except (LinkError, UsageError) as error:
        return Recognised(name, seen=str(error).rstrip("."))
    try:
        return _looked(port, name, speeds)
    except LinkError as error:
        return Recognised(name, seen=str(error).rstrip("."))
    finally:
        port.close()


def recognise_all(found: Iterable[PortSeen]) -> Iterator[Recognised]:
    """Yield what is at each port, one after the other."""
    for port in found:
        yield recognise(port.name)


def _looked(port: BytePort, name: str, speeds: Sequence[int]) -> Recognised:
    noise = False
    for speed in speeds:
        port.set_baud(speed)
        said = b""
        for question, wait_s in ((b"", LISTEN_S), (QUESTION, ANSWER_S)):
            if question:
                port.send(question)
            said += _heard(port, wait_s)
            judged = _judged(name, speed, said)
            if judged is not None:
                return _named(port, judged)
        noise = noise or bool(said)
    return _numbers(port, name) or _unknown(name, noise)


def _judged(name: str, speed: int, said: bytes) -> Recognised | None:
    """Return what talks like this, or None."""
    if _PROMPT in said and _readable(said):
        address = f"serial:{name}?baud={speed}"
        return Recognised(name, "serial", address, speed, "a text adapter (AT commands)")
    pieces = [piece for piece in re.split(rb"[\r\n\a]+", said) if piece]
    frames = any(_FRAME.fullmatch(piece) for piece in pieces)
    version = any(_VERSION.fullmatch(piece) for piece in pieces)
    bare = bool(said) and not pieces and (_BELL in said or said.count(b"\r") >= 2)
    if frames or version or bare:
        address = f"can:{name}?interface=slcan&tty_baudrate={speed}&bitrate=auto"
        seen = "a CAN adapter (frames as text)" + (", which passes on a bus" if frames else "")
        return Recognised(name, "can", address, speed, seen)
    return _number(name, speed, said)


def _number(name: str, speed: int, said: bytes) -> Recognised | None:
    """Return a device that prints numbers, judged by its last whole line."""
    lines = said.replace(b"\r", b"\n").split(b"\n")[1:-1]
    for line in reversed([line.strip() for line in lines if line.strip()]):
        try:
            values = read_line(line.decode("ascii"), LineFormat())
        except (UnreadableLine, UnicodeDecodeError):
            continue
        if isinstance(values, Values) and values.values:
            shown = ", ".join(f"{key} {value:g}" for key, value in values.values.items())
            tail = "" if speed == _LINES_SPEED else f"?baud={speed}"
            return Recognised(
                name, "lines", f"lines:{name}{tail}", speed, f"a line of numbers, the last: {shown}"
            )
    return None


def _numbers(port: BytePort, name: str) -> Recognised | None:
    """Listen longer for what prints by itself."""
    for speed in NUMBER_SPEEDS:
        port.set_baud(speed)
        judged = _number(name, speed, b"\n" + _heard(port, NUMBERS_S))
        if judged is not None:
            return judged
    return None


def _unknown(name: str, noise: bool) -> Recognised:
    seen = "what comes makes no text at any usual speed" if noise else "nothing answers"
    return Recognised(name, seen=seen, advice=_NOTHING)


def _named(port: BytePort, found: Recognised) -> Recognised:
    """Ask a text adapter what it calls itself."""
    if found.kind != "serial":
        return found
    port.send(WHO)
    text = _heard(port, ANSWER_S).decode("ascii", errors="replace")
    names = [line.strip() for line in re.split(r"[\r\n>]+", text)]
    names = [line for line in names if len(line) > 3 and not line.upper().startswith("AT")]
    called = f", which calls itself {names[-1][:60]!r}" if names else ""
    return Recognised(
        found.port, found.kind, found.address, found.speed, found.seen + called, found.advice
    )


def _heard(port: BytePort, seconds: float) -> bytes:
    """Return what comes within `seconds`, sooner when a prompt did."""
    until_s = time.monotonic() + seconds
    data = b""
    while time.monotonic() < until_s and _PROMPT not in data:
        data += port.receive()
    return data


def _readable(said: bytes) -> bool:
    return all(32 <= byte < 127 or byte in b"\0\a\r\n\t" for byte in said)
