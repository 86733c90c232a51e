"""The book as lines and as JSON values. An identification number is shown shortened."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from warmwatch.book import vin
from warmwatch.book.book import Book, Entry, Trouble
from warmwatch.book.keys import KEYS, Section, Value
from warmwatch.errors import printable
from warmwatch.words.catalogue import phrase


def shown(name: str, value: Value) -> str:
    """Return a value as it is shown."""
    if isinstance(value, bool):
        return phrase("book.yes" if value else "book.no")
    if isinstance(value, str):
        return vin.shortened(value) if name == "vin" else printable(value)
    return f"{value:g}"


def book_lines(book: Book) -> Iterator[str]:
    """Yield the book as a list, one line a label."""
    if not (book.vehicles or book.adapters or book.shop.values or book.troubles):
        codes = ("empty", "empty-start", "empty-set")
        yield from (phrase(f"book.{code}", path=str(book.path)) for code in codes)
        return
    yield phrase("book.path", path=printable(str(book.path)))
    for title, entries in (("vehicles", book.vehicles), ("adapters", book.adapters)):
        if entries:
            yield phrase(f"book.{title}")
            width = min(28, max(map(len, entries)))
            yield from (f"  {printable(e.label):<{width}}  {_short(e)}" for e in entries.values())
    if book.shop.values:
        yield phrase("book.shop")
        yield f"  {_pairs(book.shop.values)}"
    yield from trouble_lines(book.troubles)


def _short(entry: Entry) -> str:
    if entry.section is Section.ADAPTERS:
        return _pairs(entry.values)
    source = entry.text("band_source")
    band = entry.text("band") or phrase("book.no-band")
    told = [phrase("book.band", band=band, source=printable(source)) if source else band]
    told += [f"{name} {shown(name, entry.values[name])}" for name in _TOLD if name in entry.values]
    return ", ".join(told)


_TOLD = ("link", "signals", "unit", "capacity_l", "vin")


def _pairs(values: Mapping[str, Value]) -> str:
    return ", ".join(f"{name} {shown(name, value)}" for name, value in values.items())


def entry_lines(entry: Entry) -> Iterator[str]:
    """Yield one entry with all its keys and what they mean."""
    yield printable(entry.label)
    if not entry.values:
        yield phrase("book.nothing")
    for name, value in entry.values.items():
        about = KEYS[entry.section][name].about
        yield f"  {name} = {shown(name, value)}".ljust(44) + f"  {about}"


def trouble_lines(troubles: Iterable[Trouble]) -> Iterator[str]:
    """Yield a line for each thing that cannot be used."""
    for trouble in troubles:
        where = f"{printable(trouble.label)}: " if trouble.label else ""
        yield phrase("book.trouble", where=where, text=printable(trouble.text))


def book_object(book: Book) -> dict[str, Any]:
    """Return the book as JSON values."""
    return {
        "path": str(book.path),
        "vehicles": [entry_object(entry) for entry in book.vehicles.values()],
        "adapters": [entry_object(entry) for entry in book.adapters.values()],
        "shop": entry_object(book.shop),
        "troubles": trouble_objects(book.troubles),
    }


def entry_object(entry: Entry) -> dict[str, Any]:
    """Return one entry as JSON values."""
    shortened = {"vin": vin.shortened(entry.text("vin"))} if entry.text("vin") else {}
    return {"label": entry.label, **entry.values, **shortened}


def trouble_objects(troubles: Iterable[Trouble]) -> list[dict[str, str]]:
    """Return what cannot be used as JSON values."""
    return [{"label": trouble.label, "text": trouble.text} for trouble in troubles]
