"""The language is chosen by name: for one command, or in the book for all."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.commands.conftest import Run
from tests.outputs.test_catalogue import MADE_UP
from warmwatch.outputs.page.files import MODULES, static_files
from warmwatch.outputs.proof.page import proof_page
from warmwatch.outputs.proof.visit import gather
from warmwatch.words import catalogue
from warmwatch.words.english import PHRASES

pytestmark = pytest.mark.slow


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


RECORDINGS = Path(__file__).parents[2] / "recordings"
_ALLOWED = re.compile(
    r"warmwatch \w+ \S+|\S+\.csv\S*|\S+\.(?:png|pdf|toml)|--[\w-]+(?: [A-Z]+)?|\[(?:n|\d+)\]"
    r"|\b[0-9a-f]{12,}\b|\b(?:UTC|min|mL|kg)\b"
    r"|\b(?:(?:fast-)?idle|drive|heater|loaded|invented)\b"
    r"|°[CF](?:/min)?|An invented vehicle: no number in this recording was measured\."
)
"""Commands, files, units, labels, and what a recording keeps as text, stay as they are."""


@pytest.mark.parametrize(
    "arguments",
    [
        ("jobs", RECORDINGS),
        ("compare", RECORDINGS / "2026-01-15T08-00-00Z_invented_heater.csv"),
        ("watch", RECORDINGS / "2026-01-12T08-00-00Z_invented_idle.csv", "--plain", "--no-record"),
        ("fluid", "--fresh", "--drain", "4 L", "--capacity", "8 L"),
        ("fluid", "--what-if", "--capacity", "8 L", "--pan-length", "400", "--pan-width", "300"),
        ("book",),
    ],
    ids=lambda arguments: " ".join(map(str, arguments[:2]))[:20],
)
def test_no_command_speaks_english_in_another_language(
    warmwatch: Run, other: str, arguments: tuple[object, ...]
) -> None:
    """What a command shows on stdout is from the catalogue, but for what is typed, and labels."""
    ran = warmwatch("--language", other, *arguments)
    assert ran.code == 0, ran.err
    assert "ж" in ran.out
    left = [line for line in ran.out.splitlines() if _words(line)]
    assert left == []


def test_page_and_proof_take_all_their_texts_from_the_catalogue(other: str) -> None:
    """The page's modules have no sentence of their own, and the proof none but what was typed."""
    with catalogue.speaking(other):
        texts = static_files()["/texts.js"].content.decode("utf-8")
        page = proof_page(gather(RECORDINGS / "2026-01-21T08-00-00Z_invented_drive.csv"))
    assert not re.search(r'": "[A-Za-z ]{4,}', texts)
    for part in ("verdict", "remarks", "conditions", "check", "windows", "cautions", "genuine"):
        assert _words(json.dumps(page[part], ensure_ascii=False)) == []
    for name in MODULES[2:]:
        source = static_files()[f"/{name}"].content.decode("utf-8")
        assert re.findall(r'"[A-Z][a-z]+ [a-z ]+[.?]?"', source) == []


def _words(text: str) -> list[str]:
    return re.findall(r"[A-Za-z]{3,}", _ALLOWED.sub("", text))
