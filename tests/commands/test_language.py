"""The language is chosen by name: for one command, or in the book for all."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.commands.conftest import Run
from tests.outputs.test_catalogue import MADE_UP
from warmwatch.words import catalogue
from warmwatch.words.english import PHRASES


@pytest.fixture
def other(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Return the code of a second language, of made-up letters."""
    monkeypatch.setitem(catalogue.LANGUAGES, "xx", MADE_UP)
    yield "xx"
    catalogue.use(PHRASES)


def test_an_unknown_language_is_wrong_usage(warmwatch: Run) -> None:
    """One sentence names those there are; the exit code is that of usage."""
    ran = warmwatch("--language", "zz", "jobs", ".")
    assert (ran.code, ran.out) == (2, "")
    assert ran.err == "warmwatch: --language: there is no language 'zz'; use en.\n"


def test_the_book_chooses_it_for_all_commands(
    warmwatch: Run, other: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the shop has set counts, an option counts more, and a wrong one is mended by `book`."""
    monkeypatch.setenv("WARMWATCH_HOME", str(tmp_path / "home"))
    assert warmwatch("book", "set", "shop", "language=zz").code == 0
    assert "zz" in warmwatch("book", "check").out
    assert warmwatch("jobs", ".").code == 2
    assert warmwatch("--language", "en", "jobs", ".").out == "No recording in ..\n"
    assert warmwatch("book", "set", "shop", f"language={other}").code == 0
    assert "recording" not in warmwatch("jobs", ".").out
