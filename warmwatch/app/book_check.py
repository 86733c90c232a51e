"""What of the book does not work on this computer, or does not fit together."""

import os
import sys
from collections.abc import Iterator
from pathlib import Path

from warmwatch.book import vin
from warmwatch.book.as_job import check_whole, unit_of
from warmwatch.book.book import Book, Entry, Trouble
from warmwatch.book.links import link_text, signals_path
from warmwatch.errors import WarmwatchError
from warmwatch.links.address import Address, parse_address
from warmwatch.words.catalogue import LANGUAGES


def check_book(book: Book) -> list[Trouble]:
    """Return everything in the book that cannot be used as it stands, or not here."""
    found = list(book.troubles)
    for adapter in book.adapters.values():
        found += [Trouble(adapter.label, text) for text in _adapter(adapter)]
    for vehicle in book.vehicles.values():
        found += [Trouble(vehicle.label, text) for text in _vehicle(book, vehicle)]
    return found + [Trouble(book.shop.label, text) for text in _shop(book.shop)]


def _adapter(adapter: Entry) -> Iterator[str]:
    if not adapter.text("address"):
        yield "address: missing"
        return
    yield from _reachable(link_text(Book(Path()), adapter))


def _vehicle(book: Book, vehicle: Entry) -> Iterator[str]:
    try:
        check_whole(book, vehicle)
    except WarmwatchError as error:
        yield str(error).removeprefix(f"{vehicle.label}: ").rstrip(".")
    if not vehicle.text("band"):
        yield "band: missing; service information gives it"
    elif not vehicle.text("band_source"):
        yield "band_source: missing; say where the band was taken from"
    if not unit_of(book, vehicle) and not set("CFcf") & set(vehicle.text("band")):
        yield f"band: {vehicle.text('band')} has no letter and is read as °C"
    link = vehicle.text("link")
    if not link:
        yield "link: missing; name an adapter of this book, or an address"
    elif not (adapter := book.find(link)):
        yield from _reachable(link)
    elif adapter.label not in book.adapters:
        yield f"link: {link!r} is no adapter"
    if (path := signals_path(book, vehicle)) is not None:
        yield from _signals(path)
    if (number := vehicle.text("vin")) and vin.checked(number) is vin.CheckDigit.WRONG:
        yield f"vin: {vin.shortened(number)} has a wrong check digit (outside North America: maybe)"


def _signals(path: Path) -> Iterator[str]:
    from warmwatch.signals import load_signal_file

    try:
        load_signal_file(path)
    except WarmwatchError as error:
        yield f"signals: {str(error).rstrip('.')}"


def _reachable(text: str) -> Iterator[str]:
    try:
        address = parse_address(text)
    except WarmwatchError as error:
        yield str(error).rstrip(".")
        return
    if address.kind in ("serial", "lines"):
        yield from _port(address)
    elif address.kind in ("can", "broadcast") and _is_network_channel(address):
        yield f"{address.rest}: there is no such CAN channel on this computer now"


def _port(address: Address) -> Iterator[str]:
    if address.rest == "-" or "://" in address.rest or os.path.exists(address.rest):
        return
    from warmwatch.links.byte_port import ports_seen

    usb = address.options.get("usb", "")
    seen = ports_seen()
    if not any(address.rest == port.name or (usb and usb == port.usb_serial) for port in seen):
        yield f"{address.rest or usb}: this port is not plugged in here now"


def _is_network_channel(address: Address) -> bool:
    """Return whether the channel should be a network interface of Linux, and is not there."""
    if address.options.get("interface", "socketcan") != "socketcan" or sys.platform != "linux":
        return False
    return not Path("/sys/class/net", address.rest or "can0").exists()


def _shop(shop: Entry) -> Iterator[str]:
    if (language := shop.text("language")) and language not in LANGUAGES:
        yield f"language: there is no language {language!r}; use {', '.join(LANGUAGES)}"
    if (key := shop.text("key")) and not Path(key).expanduser().is_file():
        yield f"key: there is no file {key}"
    folder = shop.text("recordings")
    if folder and Path(folder).expanduser().is_dir() and not os.access(folder, os.W_OK):
        yield f"recordings: nothing can be written to {folder}"
