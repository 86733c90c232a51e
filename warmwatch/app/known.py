"""What the shop's book adds to a watch: the link, the job's values, the shop's settings."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from warmwatch.book.as_job import job_values, paperwork
from warmwatch.book.book import Book, Entry, read_book
from warmwatch.book.keys import Section
from warmwatch.book.links import link_text
from warmwatch.book.place import book_path
from warmwatch.errors import BookError, UsageError
from warmwatch.links.address import parse_address
from warmwatch.links.kinds import KINDS

RECORDINGS = Path("warmwatch-recordings")


@dataclass(frozen=True, slots=True)
class Known:
    """A link as an address text, and what the book says beside it.

    `job` has the form of a job file; `label` is the vehicle's, "" where the book knows none.
    """

    link: str
    book: Book
    label: str = ""
    job: Mapping[str, Any] = field(default_factory=dict)

    @property
    def shop(self) -> Entry:
        """The shop's settings."""
        return self.book.shop

    @property
    def recordings(self) -> Path:
        """Where the shop's recordings go."""
        return folder_of(self.shop.text("recordings"))


def look_up(link: str, vehicle: str | None, tell: Callable[[str], None]) -> Known:
    """Return what the book knows of `link`, an address or a label, and of the label `vehicle`.

    A book that cannot be read is told, and does not hinder a watch by address. Raises UsageError
    for what is neither an address nor a label.
    """
    try:
        book = read_book()
    except BookError as error:
        if not _is_address(link):
            raise
        tell(f"{error} The watch goes on with the options alone.")
        book = Book(book_path())
    found = _by_label(link, book)
    if found is not None and found.section is Section.ADAPTERS:
        return _with_vehicle(Known(link_text(book, found), book), vehicle)
    if found is not None:
        return _with_vehicle(Known(link_text(book, found), book), found.label)
    return _with_vehicle(Known(link, book), vehicle)


def _by_label(text: str, book: Book) -> Entry | None:
    """Return the entry of that label; None for an address."""
    if text.partition(":")[0] in KINDS and ":" in text:
        return None
    found = book.find(text)
    if found is not None and found.section is not Section.SHOP:
        return found
    try:
        parse_address(text)
    except UsageError as error:
        if not (book.vehicles or book.adapters):
            raise
        raise UsageError(
            f"{book.unknown(text)} And {str(error)[0].lower()}{str(error)[1:]}"
        ) from None
    return None


def _is_address(text: str) -> bool:
    try:
        parse_address(text)
    except UsageError:
        return False
    return True


def _with_vehicle(known: Known, vehicle: str | None) -> Known:
    """Return the same with the job's values of a vehicle that the book has, else of the shop."""
    found = known.book.find(vehicle) if vehicle else None
    if found is not None and found.section is Section.VEHICLES:
        return replace(known, label=found.label, job=job_values(known.book, found))
    unit = known.shop.text("unit")
    values: dict[str, Any] = {"unit": unit} if unit else {}
    return replace(known, job=values | paperwork(known.book))


def folder_of(named: str) -> Path:
    """Return the folder of recordings that the book names, or else the usual one."""
    return Path(named).expanduser() if named else RECORDINGS


def shop_text(name: str) -> str:
    """Return a setting of the shop; "" where there is none, or no book that can be read."""
    try:
        return read_book().shop.text(name)
    except BookError:
        return ""
