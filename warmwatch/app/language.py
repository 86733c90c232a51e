"""The language that everything is said in: the command line's, else the shop's, else English."""

import os

from warmwatch.book.place import book_path
from warmwatch.errors import BookError, UsageError
from warmwatch.words.catalogue import LANGUAGES, use


def choose_language(name: str | None) -> None:
    """Use the catalogue `name`, None for the book's; UsageError when there is no such catalogue."""
    where, wanted = "--language", name
    if wanted is None:
        where, wanted = "The book, language of the shop", _of_shop()
    if not wanted:
        return
    if wanted not in LANGUAGES:
        raise UsageError(f"{where}: there is no language {wanted!r}; use {', '.join(LANGUAGES)}.")
    use(LANGUAGES[wanted])


def _of_shop() -> str:
    if not os.path.exists(book_path()):
        return ""
    from warmwatch.book.book import read_book

    try:
        return read_book().shop.text("language")
    except BookError:  # told by what needs the book
        return ""
