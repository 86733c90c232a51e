"""Which adapter? A known one that is plugged in, or the port that appears when it is plugged in."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from warmwatch.app.guide.asking import Asked, Choice, Question, Say
from warmwatch.app.guide.world import Answered, Socket, World
from warmwatch.book.book import Book, Entry
from warmwatch.book.keys import Value
from warmwatch.book.labels import folded
from warmwatch.book.links import link_text
from warmwatch.errors import UsageError
from warmwatch.links.address import Address, parse_address

FIND, OTHER, AGAIN, ON = "find", "other", "again", "on"
_NONE_SEEN = (
    "No adapter is seen. Plug it in (or pair it, or switch it on), then press Enter. You may also "
    "type its port or its address, as COM5, /dev/ttyUSB0 or serial:socket://192.168.1.50:4000."
)
_NOTHING = (
    "Nothing can be read there. Try again? Many adapters show themselves only while the vehicle is "
    "awake: ignition on, plug seated. (Engine only outdoors or with extraction.)"
)
_SILENT = (
    "The adapter answers, the vehicle does not. Ignition on? Plug seated? (Engine only outdoors or "
    "with extraction: exhaust gas kills.)"
)


@dataclass(frozen=True, slots=True)
class Chosen:
    """The adapter: its label in the book, what to write there, and what answered."""

    label: str
    found: Answered
    values: dict[str, Value] = field(default_factory=dict)


def choose_adapter(world: World, book: Book) -> Asked[Chosen]:
    """Ask which adapter it is, as little as possible, and see whether it answers."""
    refused: set[str] = set()
    while True:
        sockets = world.sockets()
        here = [entry for entry in book.adapters.values() if is_here(entry, sockets)]
        known = yield from _known([entry for entry in here if entry.label not in refused])
        if known is not None:
            socket = Socket(known.label, address=link_text(book, known))
        else:
            socket = yield from _new_socket(world, sockets)
        found = yield from _tried(world, socket)
        if found is None:
            refused |= {socket.name}
        elif known is not None:
            return Chosen(known.label, found)
        else:
            usb: dict[str, Value] = {"usb": socket.usb} if socket.usb else {}
            return Chosen(free_label(book), found, {"address": found.address, **usb})


def _known(known: list[Entry]) -> Asked[Entry | None]:
    """Return the known adapter that is meant, None for another one."""
    if len(known) == 1:
        yield Say(f"Adapter: {known[0].label} ({known[0].text('address')}).")
        return known[0]
    if not known:
        return None
    choices = [Choice(entry.label, entry.text("address")) for entry in known]
    answer = yield Question(
        "adapter",
        "Which adapter?",
        (*choices, Choice(OTHER, "another one")),
        known[0].label,
    )
    return next((entry for entry in known if entry.label == answer), None)


def is_here(adapter: Entry, sockets: Iterable[Socket]) -> bool:
    """Return whether a known adapter can be there now; what is not a port always may be."""
    try:
        address = parse_address(adapter.text("address"))
    except UsageError:
        return False
    if not on_a_port(address):
        return True
    usb = adapter.text("usb") or address.options.get("usb", "")
    return any(s.name == address.rest or (usb and s.usb == usb) for s in sockets)


def on_a_port(address: Address) -> bool:
    """Return whether the address names a port or channel of this computer."""
    if "://" in address.rest or address.kind not in ("serial", "lines", "can", "broadcast"):
        return False
    return bool(address.rest) or "usb" in address.options


def free_label(book: Book) -> str:
    """Return a label for a new adapter that the book does not have."""
    taken = {folded(label) for label in (*book.adapters, *book.vehicles)}
    number = 1
    while f"adapter {number}" in taken:
        number += 1
    return f"adapter {number}"


def _new_socket(world: World, sockets: list[Socket]) -> Asked[Socket]:
    while True:
        if not sockets:
            answer = yield Question(
                "adapter", _NONE_SEEN, default=AGAIN, check=_typed, choices=(_LOOK_AGAIN,)
            )
        else:
            finding = Choice(FIND, "I do not know: I unplug it and plug it in again")
            offered = [Choice(socket.name, socket.told) for socket in sockets]
            default = sockets[0].name if len(sockets) == 1 else FIND
            answer = yield Question(
                "adapter",
                "Which of these is the adapter? You may also type another port or address.",
                (*offered, finding, _LOOK_AGAIN),
                default,
                check=_typed,
            )
        if answer == FIND:
            appeared = yield from _by_plugging(world, sockets)
            if appeared is not None:
                return appeared
        elif answer != AGAIN:
            same = [socket for socket in sockets if socket.name == answer]
            return same[0] if same else Socket(answer, address=answer if ":" in answer else "")
        sockets = world.sockets()


_LOOK_AGAIN = Choice(AGAIN, "look again")


def _typed(text: str) -> str:
    """Return a port or an address that was typed; raises UsageError for what is neither."""
    return str(parse_address(text)) if ":" in text else text


def _by_plugging(world: World, before: list[Socket]) -> Asked[Socket | None]:
    """Return the port that appears when the adapter is plugged in."""
    yield Say("Unplug the adapter now ...")
    without = world.changed(before)
    gone = [socket for socket in before if socket not in without]
    if not gone and len(without) <= len(before):
        yield Say("No port went away. If it was not plugged in, plug it in now ...")
    else:
        yield Say("Seen. Plug it in again ...")
    after = world.changed(without)
    new = [socket for socket in after if socket not in without]
    if len(new) == 1:
        yield Say(f"That is {new[0].name}.")
        return new[0]
    yield Say(
        "Several ports came at once: choose one of them."
        if new
        else "No port appeared: does its light go on? Another cable, another socket?",
        warn=True,
    )
    return None


def _tried(world: World, socket: Socket) -> Asked[Answered | None]:
    """Return what answered at the socket; None when another is to be chosen."""
    while True:
        yield Say(f"Trying {socket.name} ...")
        found = world.recognise(socket)
        if found is not None and found.answers:
            return found
        text = _NOTHING if found is None else _SILENT
        go_on = () if found is None else (Choice(ON, "go on all the same"),)
        choices = (Choice(AGAIN, "try again"), Choice(OTHER, "another adapter"), *go_on)
        answer = yield Question("silent", text, choices, AGAIN)
        if answer == OTHER:
            return None
        if answer == ON:
            return found
