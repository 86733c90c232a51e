"""Reads the book. Nothing here changes it: `change.py` does."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from warmwatch.book.keys import Section, Value, key_of
from warmwatch.book.labels import SHOP, clean_label, folded, near
from warmwatch.book.place import book_path
from warmwatch.errors import BookError, UsageError

VERSION = 1


@dataclass(frozen=True, slots=True)
class Entry:
    """One vehicle, one adapter, or the shop: the values under their keys."""

    section: Section
    label: str
    values: Mapping[str, Value] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """Return a text, "" where there is none."""
        value = self.values.get(name, "")
        return value if isinstance(value, str) else str(value)


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something in the file that cannot be used: of which label, and why."""

    label: str
    text: str


@dataclass(frozen=True, slots=True)
class Book:
    """What the file says; an entry with a trouble is not among the others."""

    path: Path
    vehicles: Mapping[str, Entry] = field(default_factory=dict)
    adapters: Mapping[str, Entry] = field(default_factory=dict)
    shop: Entry = field(default_factory=lambda: Entry(Section.SHOP, SHOP))
    troubles: tuple[Trouble, ...] = ()

    def find(self, label: str) -> Entry | None:
        """Return the vehicle, the adapter or the shop of that label; None when there is none.

        Raises BookError when it is there and cannot be used.
        """
        wanted = folded(label)
        for trouble in self.troubles:
            if trouble.label and folded(trouble.label) == wanted:
                raise BookError(f"The book {self.path}: {trouble.label}: {trouble.text}.")
        if wanted == SHOP:
            return self.shop
        every = [*self.vehicles.values(), *self.adapters.values()]
        same = [entry for entry in every if folded(entry.label) == wanted]
        exact = [entry for entry in same if entry.label == label]
        return next(iter(exact or same), None)

    def needed(self, label: str) -> Entry:
        """Return the entry of that label; UsageError lists the near ones when there is none."""
        found = self.find(label)
        if found is None:
            raise UsageError(self.unknown(label))
        return found

    def unknown(self, label: str) -> str:
        """Return the sentence that says that a label is not in the book, and which are near."""
        close = near(label, [*self.vehicles, *self.adapters])
        if close:
            return f"The book has no {label!r}; near it are: {', '.join(close)}."
        return f"The book has no {label!r}: `warmwatch book` lists what it has."

    def by_vin(self, number: str) -> Entry | None:
        """Return the vehicle that has this identification number."""
        return next((v for v in self.vehicles.values() if v.values.get("vin") == number), None)


def read_book(path: Path | None = None) -> Book:
    """Return the book; empty where there is no file. Raises BookError when it cannot be read."""
    path = path or book_path()
    return book_of(parse(read_bytes(path), path), path)


def read_bytes(path: Path) -> bytes:
    """Return the file's bytes, none where there is no file."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise BookError(
            f"The book {path} cannot be read ({error.strerror or error}): check its permissions."
        ) from None


def parse(data: bytes, path: Path) -> dict[str, Any]:
    """Return the file's content; BookError says in which line and column it is broken."""
    try:
        content = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise BookError(
            f"The book {path} is not UTF-8 text (line {line}): save it as UTF-8; it was left "
            "as it was."
        ) from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise BookError(
            f"The book {path} cannot be read: {str(error).rstrip('.')}. Correct that place with a "
            f"text editor; nothing was changed. {hint(str(error))}".rstrip()
        ) from None
    version = content.get("version", VERSION)
    if isinstance(version, int) and version > VERSION:
        raise BookError(
            f"The book {path} is of a newer warmwatch (form {version}, known here is {VERSION}): "
            "use that version, or give the options by hand; nothing was changed."
        )
    return content


def hint(text: str) -> str:
    """Return the right form for the slip that TOML's own words mean, "" where none is known."""
    if "Invalid value" in text or "after a statement" in text or "after value" in text:
        return 'Texts and bands stand in quotes, as band = "80:90"; numbers have a point, as 9.4.'
    if "key" in text:
        return 'Labels stand in quotes, as [vehicles."white van"].'
    return ""


def book_of(content: Mapping[str, Any], path: Path) -> Book:
    """Return the book that the file's content means; what cannot be used becomes a trouble."""
    troubles = [
        Trouble("", f"{name}: there is no such part; known are version, {', '.join(Section)}")
        for name in content
        if name not in ("version", *Section)
    ]
    if not isinstance(content.get("version", VERSION), int):
        troubles.append(Trouble("", "version: a whole number is needed"))
    vehicles, adapters = (
        _entries(section, content.get(section, {}), troubles)
        for section in (Section.VEHICLES, Section.ADAPTERS)
    )
    shop = _entry(Section.SHOP, SHOP, content.get(Section.SHOP, {}), troubles)
    for label in list(adapters):
        if folded(label) in map(folded, vehicles):
            troubles.append(Trouble(label, "a vehicle and an adapter have the same label"))
            del adapters[label]
    return Book(path, vehicles, adapters, shop or Entry(Section.SHOP, SHOP), tuple(troubles))


def _entries(section: Section, content: Any, troubles: list[Trouble]) -> dict[str, Entry]:
    if not isinstance(content, Mapping):
        troubles.append(Trouble("", f'{section}: a part is needed, as [{section}."white van"]'))
        return {}
    found: dict[str, Entry] = {}
    for label, values in content.items():
        try:
            clean_label(label)
        except ValueError as error:
            troubles.append(Trouble("", f"{section}: {label!r}: {error}"))
            continue
        if folded(label) in (*map(folded, found), SHOP):
            troubles.append(Trouble("", f"{section}: {label!r}: this label is taken"))
        elif entry := _entry(section, label, values, troubles):
            found[label] = entry
    return found


def _entry(section: Section, label: str, values: Any, troubles: list[Trouble]) -> Entry | None:
    if not isinstance(values, Mapping):
        troubles.append(Trouble(label, "keys with values are needed below the label"))
        return None
    before = len(troubles)
    checked: dict[str, Value] = {}
    for name, value in values.items():
        try:
            checked[name] = key_of(section, name).check(value)
        except ValueError as error:
            troubles.append(Trouble(label, str(error)))
    return Entry(section, label, checked) if len(troubles) == before else None
