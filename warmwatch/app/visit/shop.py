"""What a visit may choose from: the book's vehicles, and the adapters that this computer has."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from warmwatch.app.guide.here import Here
from warmwatch.app.guide.world import Socket
from warmwatch.book.as_job import job_values, lettered, unit_of
from warmwatch.book.band_text import parse_band
from warmwatch.book.book import Book, Entry, read_book
from warmwatch.book.change import set_texts
from warmwatch.book.keys import Section
from warmwatch.book.labels import clean_label
from warmwatch.book.links import link_text
from warmwatch.core.band import Band
from warmwatch.core.job import Job, job_from_mapping
from warmwatch.errors import UsageError
from warmwatch.links.address import Address, parse_address
from warmwatch.words.catalogue import phrase
from warmwatch.words.events import band_text

DEMO = "demo:"


@dataclass(frozen=True, slots=True)
class Vehicle:
    """A vehicle to choose; `band` as it is shown, empty while none is known."""

    label: str
    band: str = ""
    source: str = ""
    entry: Entry | None = None


@dataclass(frozen=True, slots=True)
class Adapter:
    """An adapter to choose. The page knows it by `id` alone: no address ever comes from there.

    `address` is empty while it is not known what is at the `socket`: a trial finds out.
    """

    id: str
    label: str
    about: str
    address: str
    socket: Socket | None = None


@dataclass(frozen=True, slots=True)
class Choices:
    """What there is to choose from now; `trouble` says what could not be read."""

    vehicles: tuple[Vehicle, ...] = ()
    adapters: tuple[Adapter, ...] = ()
    unit: str = "C"
    trouble: str = ""
    book: Book | None = field(default=None, compare=False)


def sockets_here() -> list[Socket]:
    """Return where an adapter may be; takes seconds, as every driver is asked."""
    return Here(lambda step: None, lambda address, path: False).sockets()


def look(sockets: Sequence[Socket] = ()) -> Choices:
    """Return the choices as the book and these sockets give them; raises BookError."""
    book = read_book()
    vehicles = tuple(_vehicle(book, entry) for entry in book.vehicles.values())
    trouble = "; ".join(f"{each.label}: {each.text}" for each in book.troubles)
    unit = unit_of(book) or "C"
    return Choices(vehicles, tuple(_adapters(book, sockets)), unit, trouble, book)


def _vehicle(book: Book, entry: Entry) -> Vehicle:
    text, unit = entry.text("band"), unit_of(book, entry)
    band = band_shown(lettered(text, unit), unit or "C") if text else ""
    return Vehicle(entry.label, band, entry.text("band_source"), entry)


def band_shown(text: str, unit: str) -> str:
    """Return a band's text as it is shown; UsageError when it is none."""
    return band_text(parse_band(text, unit), unit)


def _adapters(book: Book, sockets: Sequence[Socket]) -> list[Adapter]:
    known = [Adapter("", e.label, _about(e), link_text(book, e)) for e in book.adapters.values()]
    taken = {each.address.partition("?")[0].partition(":")[2] for each in known}
    taken |= {entry.text("usb") for entry in book.adapters.values()} - {""}
    seen = [
        Adapter("", socket.name, socket.told, socket.address, socket)
        for socket in sockets
        if not {socket.name, socket.usb} & taken
    ]
    found = [
        *known,
        *seen,
        Adapter("", phrase("visit.practice"), phrase("visit.practice-about"), DEMO),
    ]
    return [replace(each, id=f"a{number}") for number, each in enumerate(found)]


def _about(entry: Entry) -> str:
    return entry.text("notes") or entry.text("address")


def new_vehicle(label: str, band: str, source: str, *, keep: bool, unit: str) -> Vehicle:
    """Return a vehicle as it was typed, written into the book where that is wished.

    Raises UsageError for what cannot be meant, and BookError when the book cannot be changed.
    """
    try:
        label = clean_label(" ".join(label.split()))
    except ValueError as error:
        raise UsageError(f"The vehicle's name: {error}.") from None
    if not band:
        raise UsageError("Give the band first: both temperatures, from service information.")
    shown = band_shown(band, unit)
    if not keep:
        return Vehicle(label, shown, source, Entry(Section.VEHICLES, label, _values(band, source)))
    entry = set_texts(label, {"band": band, "band_source": source})
    return Vehicle(entry.label, shown, source, entry)


def _values(band: str, source: str) -> dict[str, str]:
    return {"band": band, **({"band_source": source} if source else {})}


def job_of(book: Book, vehicle: Vehicle) -> Job:
    """Return the job of a vehicle; UsageError when its values make none."""
    assert vehicle.entry is not None
    content: dict[str, Any] = dict(job_values(book, vehicle.entry))
    unit = str(content.get("unit", "C"))
    if "band" not in content:
        raise UsageError(f"{vehicle.label} has no band yet: choose New vehicle and give one.")
    for name in ("band", "drain_band"):
        if name in content:
            content[name] = _plain(parse_band(content[name], unit, name))
    try:
        return job_from_mapping(content)
    except ValueError as error:
        raise UsageError(f"{vehicle.label}: {error}.") from None


def _plain(band: Band) -> Mapping[str, float]:
    return {"low_c": band.low_c, "high_c": band.high_c}


def address_of(book: Book, vehicle: Vehicle, adapter: Adapter) -> Address:
    """Return where the readings come from, with the vehicle's own signal file where it has one."""
    if vehicle.entry is None or adapter.address.startswith(DEMO):
        return parse_address(adapter.address)
    values = {**vehicle.entry.values, "link": adapter.address}
    return parse_address(link_text(book, replace(vehicle.entry, values=values)))
