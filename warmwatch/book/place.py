"""Where the book lies: in the user's settings, or where WARMWATCH_HOME says."""

import os
from pathlib import Path

HOME_VARIABLE = "WARMWATCH_HOME"
BOOK = "book.toml"


def home() -> Path:
    """Return the folder of the shop's own files; it need not be there yet."""
    if named := os.environ.get(HOME_VARIABLE):
        return Path(named).expanduser()
    from platformdirs import user_config_path

    return user_config_path("warmwatch", appauthor=False)


def book_path() -> Path:
    """Return the path of the book; it need not be there yet."""
    return home() / BOOK
