"""`warmwatch book`: the shop's own vehicles, adapters and settings."""

import json
from collections.abc import Iterable, Sequence

import click

from warmwatch.book.book import Book, Entry, read_book
from warmwatch.book.change import remove as remove_entry
from warmwatch.book.change import set_texts
from warmwatch.book.keys import Section
from warmwatch.book.labels import folded
from warmwatch.errors import UsageError
from warmwatch.links.kinds import KINDS
from warmwatch.words.book import (
    book_lines,
    book_object,
    entry_lines,
    entry_object,
    trouble_lines,
    trouble_objects,
)
from warmwatch.words.catalogue import next_lines, phrase

_json_option = click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout.")


def _say(lines: Iterable[str]) -> None:
    for line in lines:
        click.echo(line)


def _say_json(content: object) -> None:
    click.echo(json.dumps(content, ensure_ascii=False))


@click.group("book", invoke_without_command=True)
@_json_option
@click.pass_context
def command(context: click.Context, as_json: bool) -> None:
    """The shop's book: its vehicles, its adapters, its settings. Lists it when nothing follows.

    It is one file that you may also edit by hand, and it ships empty: every band in it is yours,
    from service information.
    """
    if context.invoked_subcommand is None:
        book = read_book()
        if as_json:
            _say_json(book_object(book))
        else:
            _say(book_lines(book))


@command.command("show")
@click.argument("label")
@_json_option
def show(label: str, as_json: bool) -> None:
    """Show the vehicle or the adapter LABEL, or `shop`, with all its keys."""
    entry = read_book().needed(label)
    _say_json(entry_object(entry)) if as_json else _say(entry_lines(entry))


@command.command("set")
@click.argument("label")
@click.argument("values", nargs=-1, required=True, metavar="KEY=VALUE...")
@_json_option
def set_(label: str, values: Sequence[str], as_json: bool) -> None:
    """Set keys of LABEL, as in: book set "white van" band=185F:203F band_source="book page 12".

    A new label with an address= becomes an adapter, any other a vehicle; `shop` is the shop itself.
    KEY= with nothing behind it removes the key.
    """
    _refuse_address(label)
    texts = {}
    for value in values:
        name, equals, text = value.partition("=")
        if not equals or name in texts:
            raise UsageError(f"{value!r}: write each key once, as KEY=VALUE.")
        texts[name] = _whole(text)
    entry = set_texts(_whole(label), texts)
    _say_json(entry_object(entry)) if as_json else _say([*entry_lines(entry), *_next(entry)])


def _whole(text: str) -> str:
    """Return the text with a question mark for each byte that was no UTF-8."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _refuse_address(label: str) -> None:
    kind = label.partition(":")
    if kind[1] and kind[0] in KINDS:
        raise UsageError(
            f"{label!r} reads like a link address: choose another label, as in "
            f'`book set "blue adapter" address={label}`.'
        )


def _next(entry: Entry) -> list[str]:
    if entry.section is Section.VEHICLES and entry.text("band") and entry.text("link"):
        return next_lines(f'watch "{entry.label}"')
    if entry.section is Section.ADAPTERS:
        return next_lines(f'book set "white van" link="{entry.label}"')
    return []


@command.command("remove")
@click.argument("label")
@_json_option
def remove(label: str, as_json: bool) -> None:
    """Remove the vehicle or the adapter LABEL from the book. Recordings stay."""
    entry = remove_entry(label)
    users = _users(read_book(), entry)
    if as_json:
        _say_json({"removed": entry_object(entry), "still_named_by": users})
        return
    click.echo(phrase("book.removed", label=entry.label))
    if users:
        click.echo(phrase("book.still-named", labels=", ".join(users)))


def _users(book: Book, entry: Entry) -> list[str]:
    return [
        v.label for v in book.vehicles.values() if folded(v.text("link")) == folded(entry.label)
    ]


@command.command("check")
@_json_option
def check(as_json: bool) -> int:
    """Say what of the book does not work on this computer: ports, files, values.

    Exits with 0 when all of it does, with 1 when something does not.
    """
    from warmwatch.app.book_check import check_book

    book = read_book()
    found = check_book(book)
    if as_json:
        _say_json({"path": str(book.path), "troubles": trouble_objects(found)})
    else:
        count = len(book.vehicles) + len(book.adapters)
        _say(trouble_lines(found) if found else [phrase("book.works", count=count)])
    return 1 if found else 0
