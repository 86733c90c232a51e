"""Keeps features by content digest, so that thousands of recordings compare in seconds.

One SQLite file in the user's cache folder. Everything in it can be worked out again, so a cache
that cannot be read or written is reported and not used.
"""

import os
import sqlite3
import sys
import zlib
from collections.abc import Iterable, Mapping
from pathlib import Path

KEPT = 50_000
"""The oldest are dropped beyond so many, at about 3 kB each."""
_BATCH = 500


def cache_path() -> Path:
    """Return where the cache lives: WARMWATCH_CACHE, or the platform's cache folder."""
    given = os.environ.get("WARMWATCH_CACHE")
    if given:
        return Path(given)
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return base / "warmwatch" / "features.sqlite"


class FeatureCache:
    """Maps keys to texts. `trouble` says why it is not used, empty while all is well."""

    def __init__(self, path: Path | None) -> None:
        self.trouble = ""
        self._path = path

    def get(self, keys: Iterable[str]) -> dict[str, str]:
        """Return the kept texts of those keys that are known."""
        wanted = list(dict.fromkeys(keys))
        found: dict[str, str] = {}
        try:
            with _Opened(self._path) as database:
                for start in range(0, len(wanted) if database else 0, _BATCH):
                    found |= _select(database, wanted[start : start + _BATCH])
        except (OSError, sqlite3.Error, zlib.error, ValueError) as error:
            self._give_up(error)
        return found

    def put(self, texts: Mapping[str, str]) -> None:
        """Keep texts by key."""
        rows = [(key, zlib.compress(text.encode("utf-8"), 1)) for key, text in texts.items()]
        try:
            with _Opened(self._path) as database:
                if database and rows:
                    database.executemany("insert or replace into features values (?, ?)", rows)
                    database.execute(
                        "delete from features where rowid <= (select max(rowid) from features) - ?",
                        (KEPT,),
                    )
        except (OSError, sqlite3.Error) as error:
            self._give_up(error)

    def _give_up(self, error: Exception) -> None:
        self.trouble = f"The cache {self._path} is not used ({error})."
        self._path = None


class _Opened:
    """The database for the length of one transaction; None without a path."""

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._database: sqlite3.Connection | None = None

    def __enter__(self) -> sqlite3.Connection | None:
        if self._path is None:
            return None
        self._path.parent.mkdir(parents=True, exist_ok=True)
        self._database = sqlite3.connect(self._path, timeout=10.0)
        self._database.execute(
            "create table if not exists features (key text primary key, packed blob not null)"
        )
        return self._database

    def __exit__(self, kind: type | None, error: object, trace: object) -> None:
        if self._database is None:
            return
        try:
            if kind is None:
                self._database.commit()
        finally:
            self._database.close()


def _select(database: sqlite3.Connection | None, keys: list[str]) -> dict[str, str]:
    assert database is not None
    marks = ",".join("?" * len(keys))
    rows = database.execute(f"select key, packed from features where key in ({marks})", keys)  # noqa: S608 - only question marks
    return {key: zlib.decompress(packed).decode("utf-8") for key, packed in rows}
