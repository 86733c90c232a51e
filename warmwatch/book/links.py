"""How a vehicle of the book is reached: its link's address as a text, and its signal file."""

from pathlib import Path

from warmwatch.book.book import Book, Entry
from warmwatch.book.keys import Section
from warmwatch.errors import UsageError


def link_text(book: Book, entry: Entry) -> str:
    """Return the address of a vehicle's link, or of an adapter, as one types it.

    The vehicle's signal file is put into it where the address names none. Raises UsageError when
    the vehicle has no link, or names what is no adapter.
    """
    if entry.section is Section.ADAPTERS:
        return _with_option(entry.text("address"), "usb", entry.text("usb"))
    link = entry.text("link")
    if not link:
        raise UsageError(
            f"The book names no link for {entry.label!r}: give the address, or write it in, as in "
            f'`warmwatch book set "{entry.label}" link=serial:PORT`.'
        )
    adapter = book.find(link)
    if adapter is not None:
        if adapter.section is not Section.ADAPTERS or not adapter.text("address"):
            raise UsageError(
                f"{link!r}, the link of {entry.label!r}, is no adapter with an address."
            )
        link = link_text(book, adapter)
    path = signals_path(book, entry)
    return link if path is None else _with_option(link, "signals", str(path))


def signals_path(book: Book, vehicle: Entry) -> Path | None:
    """Return the vehicle's signal file; a relative name is beside the book."""
    name = vehicle.text("signals")
    return book.path.parent / Path(name).expanduser() if name else None


def _with_option(address: str, name: str, value: str) -> str:
    """Return the address with an option added, where it does not have it and has a use for it."""
    if not value or f"{name}=" in address.partition("?")[2]:
        return address
    from urllib.parse import quote

    return f"{address}{'&' if '?' in address else '?'}{name}={quote(value, safe='/:.-_~')}"
