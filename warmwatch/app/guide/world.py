"""What the guide needs of the world around it; tests and the page may give their own."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from warmwatch.book.book import Book
from warmwatch.book.keys import Value


@dataclass(frozen=True, slots=True)
class Socket:
    """A place of this computer where an adapter may be: a serial port, or a CAN interface.

    `address` is the whole link address where it is known already, "" where it has to be tried.
    """

    name: str
    meaning: str = ""
    usb: str = ""
    address: str = ""

    @property
    def told(self) -> str:
        """What is known of it beside its name."""
        return ", ".join(filter(None, (self.meaning, self.usb and f"USB number {self.usb}")))


@dataclass(frozen=True, slots=True)
class Answered:
    """What answered: the link's address, whether the vehicle answers, and what it offers."""

    address: str
    answers: bool = False
    vin: str = ""
    fluid: bool = False


class World(Protocol):
    """The computer, the vehicle and the book, as far as the guide has to do with them."""

    def book(self) -> Book:
        """Return the shop's book as it is now. Raises BookError."""

    def sockets(self) -> list[Socket]:
        """Return where an adapter may be now."""

    def changed(self, before: list[Socket]) -> list[Socket]:
        """Wait, not for ever, until there are other sockets than `before`; return them."""

    def recognise(self, socket: Socket) -> Answered | None:
        """Try what is at the socket, in a harmless order, and return what answered.

        What is seen on the way is told by whoever made the world. Raises no LinkError.
        """

    def signal_files(self) -> list[Path]:
        """Return signal files that are at hand."""

    def search(self, address: str, label: str) -> Path | None:
        """Search the vehicle for the fluid's identifier; return the signal file, None without."""

    def no_page(self) -> str:
        """Return why no phone could reach a page served here, "" when one could."""

    def write(self, entries: Mapping[str, Mapping[str, Value | None]]) -> None:
        """Write into the book, all or nothing. Raises UsageError and BookError."""
