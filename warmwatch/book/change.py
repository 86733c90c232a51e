"""Changes the book: one program at a time, whole or not at all, comments and order kept."""

import contextlib
import os
from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from pathlib import Path
from typing import Any

from warmwatch.book.as_job import BANDS, check_whole, lettered, unit_of
from warmwatch.book.book import Book, Entry, book_of, parse, read_bytes
from warmwatch.book.keys import Section, Value, key_of
from warmwatch.book.labels import clean_label
from warmwatch.book.place import book_path
from warmwatch.errors import BookError, UsageError

WAIT_S = 15.0
HEAD = """\
# The book of this shop: what warmwatch knows of your vehicles and adapters.
# Edit it as you like: comments and order are kept. Every value in it is the shop's own; check
# temperatures come from service information.
version = 1
"""

Edit = Callable[[Any, Book], None]
"""Changes the document (tomlkit's, like a dict) that it is given, beside the book it means."""


def set_values(label: str, values: Mapping[str, Value | None], path: Path | None = None) -> Entry:
    """Set keys of a vehicle, an adapter or `shop`, None removes one; return the entry as it is now.

    A label that is not there yet is made: an adapter where `address` is among the keys, else a
    vehicle. Raises UsageError for a wrong key or value and BookError when the book cannot be
    changed; the file is then as it was.
    """
    with _told():
        label = clean_label(label)
        book = change(lambda document, now: _set(document, now, label, values), path)
    return book.needed(label)


def set_many(entries: Mapping[str, Mapping[str, Value | None]], path: Path | None = None) -> Book:
    """Set keys of several labels at once, all or nothing. Raises as `set_values`."""

    def edit(document: Any, book: Book) -> None:
        for label, values in entries.items():
            _set(document, book, clean_label(label), values)

    with _told():
        return change(edit, path)


def set_texts(label: str, texts: Mapping[str, str], path: Path | None = None) -> Entry:
    """Set keys from what a person typed; an empty text removes the key. Raises as `set_values`.

    A band without a letter gets that of the unit that holds for the label now.
    """
    with _told():
        label = clean_label(label)

        def edit(document: Any, book: Book) -> None:
            section = _section(book, label, texts)
            values = {
                name: key_of(section, name).from_text(text) if text.strip() else None
                for name, text in texts.items()
            }
            found = book.find(label)
            unit = str(values.get("unit") or "") or unit_of(book, found)
            for name in BANDS:
                if value := values.get(name):
                    values[name] = lettered(str(value), unit, name)
            _set(document, book, label, values)

        book = change(edit, path)
    return book.needed(label)


def remove(label: str, path: Path | None = None) -> Entry:
    """Remove a vehicle or an adapter and return what it was. Raises UsageError and BookError."""
    removed: list[Entry] = []

    def edit(document: Any, book: Book) -> None:
        entry = book.needed(label)
        if entry.section is Section.SHOP:
            raise UsageError(
                "The shop's own part cannot be removed: empty a key, as in `book set shop unit=`."
            )
        del document[entry.section][entry.label]
        removed.append(entry)

    change(edit, path)
    return removed[-1]


@contextlib.contextmanager
def _told() -> Iterator[None]:
    try:
        yield
    except ValueError as error:
        raise UsageError(f"{str(error).rstrip('.')}.") from None


def _section(book: Book, label: str, names: Mapping[str, object]) -> Section:
    found = book.find(label)
    if found is not None:
        return found.section
    return Section.ADAPTERS if "address" in names else Section.VEHICLES


def _set(document: Any, book: Book, label: str, values: Mapping[str, Value | None]) -> None:
    section, found = _section(book, label, values), book.find(label)
    part = document.setdefault(section.value, _table(document, above=section is not Section.SHOP))
    if section is not Section.SHOP:
        label = label if found is None else found.label
        part = part.setdefault(label, _table(document))
    for name, value in values.items():
        key = key_of(section, name)
        if value is None:
            part.pop(name, None)
        else:
            part[name] = key.check(value)
    if section is Section.VEHICLES:
        check_whole(book, Entry(section, label, dict(part)))


def _table(document: Any, *, above: bool = False) -> Any:
    """Return an empty table for the document; `above`: it holds nothing but tables."""
    import tomlkit

    plain = not isinstance(document, tomlkit.TOMLDocument)
    return {} if plain else tomlkit.table(is_super_table=above)


def change(edit: Edit, path: Path | None = None) -> Book:
    """Apply `edit` to the book as it is now, and return it as it is afterwards.

    While it runs no other program changes the book. A file that is broken, newer or has a wrong
    value where the change is made is left alone. Raises BookError, and what `edit` raises.
    """
    path = (path or book_path()).resolve()
    with _alone(path):
        before = read_bytes(path)
        content = parse(before, path)
        text = before.decode("utf-8-sig") or HEAD
        after = _edited(text, edit, book_of(content, path), path)
        if after != text:
            _replace(path, after.encode("utf-8"))
    return book_of(parse(read_bytes(path), path), path)


def _edited(text: str, edit: Edit, book: Book, path: Path) -> str:
    """Return the text after the edit; what stands elsewhere in it must mean what it meant."""
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(text)
        plain: dict[str, Any] = deepcopy(parse(text.encode("utf-8"), path))
        edit(document, book)
        edit(plain, book)
        after = tomlkit.dumps(document)
    except (TOMLKitError, UnicodeEncodeError) as error:
        raise BookError(
            f"The book {path} cannot be changed here ({error}): use an editor."
        ) from None
    if _without_empty(parse(after.encode("utf-8"), path)) != _without_empty(plain):
        raise BookError(
            f"The book {path} has a layout that this command cannot change: use an editor."
        )
    return after


def _without_empty(content: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in content.items() if value != {}}


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Hold the book against other programs; the system lets go of it when this one is killed."""
    from filelock import FileLock, Timeout

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with FileLock(path.with_suffix(".lock"), timeout=WAIT_S, poll_interval=0.01):
            yield
    except Timeout:
        raise BookError(
            f"Another program holds the book {path}: end it, then try again; nothing was changed."
        ) from None
    except OSError as error:
        raise _not_writable(path, error.strerror or str(error)) from None


def check_writable(path: Path) -> None:
    """Raise BookError where a change of the book would fail for want of permission."""
    place = path if path.exists() else path.parent
    while not place.exists() and place != place.parent:
        place = place.parent
    if not os.access(place, os.W_OK):
        raise _not_writable(path, "permission denied")


def _not_writable(path: Path, why: str) -> BookError:
    return BookError(
        f"The book cannot be written to {path.parent} ({why}): let your user write there, or name "
        "another folder in WARMWATCH_HOME; nothing was changed."
    )


def _replace(path: Path, data: bytes) -> None:
    """Put `data` in the place of the file at once: after a power cut it is the old or the new.

    Whoever is here holds the lock, so that the name beside it is ours; one left by a program that
    was killed is written over.
    """
    beside = path.with_name(f".{path.name}.new")
    with open(beside, "wb", opener=_private) as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    with contextlib.suppress(FileNotFoundError):
        beside.chmod(path.stat().st_mode & 0o777)
    beside.replace(path)


def _private(name: str, flags: int) -> int:
    """Open a new file so that only its owner may read it: it may name vehicles of customers."""
    return os.open(name, flags, 0o600)
