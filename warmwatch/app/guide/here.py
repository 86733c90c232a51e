"""The guide's world as it is: this computer, its ports, the vehicle and the book."""

import time
from collections.abc import Callable, Mapping
from pathlib import Path

from warmwatch.app.guide.recognise import asked, can_sockets, heard
from warmwatch.app.guide.world import Answered, Socket
from warmwatch.book.book import Book, read_book
from warmwatch.book.change import check_writable, set_many
from warmwatch.book.keys import Value
from warmwatch.book.links import signals_path
from warmwatch.book.place import home
from warmwatch.errors import LinkError, UsageError, WarmwatchError
from warmwatch.links.address import parse_address
from warmwatch.links.trying.finding import ports, recognise
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.signals import load_signal_file

CHANGE_S, LOOK_S = 60.0, 0.5
"""So long a person may take to unplug and plug in; so often the ports are looked at."""
MOST_FILES = 8

Searching = Callable[[str, Path], bool]
"""Searches at an address and writes a signal file; False when nothing sure was found."""


class Here:
    """This computer. `told` gets each step on the way; `searching` runs the guided search."""

    def __init__(self, told: Callable[[Step], None], searching: Searching) -> None:
        self._told = told
        self._searching = searching

    def book(self) -> Book:
        book = read_book()
        check_writable(book.path)
        return book

    def sockets(self) -> list[Socket]:
        seen = [Socket(p.name, _meaning(p.meaning), p.usb_serial) for p in ports()]
        return [*seen, *can_sockets()]

    def changed(self, before: list[Socket]) -> list[Socket]:
        until_s = time.monotonic() + CHANGE_S
        while (now := self.sockets()) == before and time.monotonic() < until_s:
            time.sleep(LOOK_S)
        return now

    def recognise(self, socket: Socket) -> Answered | None:
        address = socket.address or self._at_port(socket.name)
        if not address:
            return None
        asks = parse_address(address).about_kind.transport
        try:
            return asked(address, self._told) if asks else heard(address, self._told)
        except (LinkError, UsageError) as error:
            self._told(Step("link", StepState.FAILED, str(error).rstrip(".")))
            return None

    def _at_port(self, name: str) -> str:
        """Return the address of what is recognised at a port, "" when nothing is."""
        found = recognise(name)
        state = StepState.OK if found.kind else StepState.FAILED
        self._told(Step("at this port", state, found.seen, found.advice))
        return found.address

    def signal_files(self) -> list[Path]:
        book = read_book()
        named = [signals_path(book, vehicle) for vehicle in book.vehicles.values()]
        beside = [*sorted(Path.cwd().glob("*.toml")), *sorted(home().glob("*.toml"))]
        found = dict.fromkeys(p.resolve() for p in [*named, *beside] if p and gives_fluid(p))
        return list(found)[:MOST_FILES]

    def search(self, address: str, label: str) -> Path | None:
        path = _free_file(label)
        path.parent.mkdir(parents=True, exist_ok=True)
        return path if self._searching(address, path) else None

    def no_page(self) -> str:
        from warmwatch.outputs.page.address import page_host

        try:
            page_host("private")
        except WarmwatchError as error:
            return str(error)
        return ""

    def write(self, entries: Mapping[str, Mapping[str, Value | None]]) -> None:
        set_many(entries)


def _meaning(text: str) -> str:
    return "" if text == "n/a" else text


def gives_fluid(path: Path) -> bool:
    """Return whether a file is a signal file that names the fluid's temperature."""
    try:
        return load_signal_file(path).named("fluid_c") is not None
    except WarmwatchError:
        return False


def _free_file(label: str) -> Path:
    stem = "".join(char if char.isalnum() else "-" for char in label)[:40].strip("-") or "vehicle"
    number = 1
    while (path := home() / f"signals-{stem}{'' if number == 1 else f'-{number}'}.toml").exists():
        number += 1
    return path
