"""`warmwatch book`: list, show, set, remove, check."""

import json
from pathlib import Path

import pytest

from tests.commands.conftest import Run


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the folder where this test's book lies."""
    monkeypatch.setenv("WARMWATCH_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def test_an_empty_book_says_what_to_do(warmwatch: Run, home: Path) -> None:
    """It ships empty: no file is made by looking, and the next command is named."""
    ran = warmwatch("book")
    assert ran.code == 0
    assert "empty" in ran.out
    assert "warmwatch start" in ran.out
    assert not home.exists()


def test_set_show_and_list(warmwatch: Run, home: Path) -> None:
    """What was set is shown with its meaning, in the list in one line, and as JSON."""
    warmwatch("book", "set", "blue", "address=serial:COM5")
    ran = warmwatch("book", "set", "white van", "band=185F:203F", "link=blue", "vin=" + "1" * 17)
    assert 'Next: warmwatch watch "white van"' in ran.out
    assert "white van  185F:203F, link blue, vin …1111" in warmwatch("book").out
    shown = json.loads(warmwatch("book", "show", "WHITE van", "--json").out)
    assert shown == {"label": "white van", "band": "185F:203F", "link": "blue", "vin": "…1111"}
    listed = json.loads(warmwatch("book", "--json").out)
    assert [entry["label"] for entry in listed["adapters"]] == ["blue"]
    assert "1" * 17 in (home / "book.toml").read_text(encoding="utf-8")


def test_an_unknown_label_lists_the_near_ones(warmwatch: Run, home: Path) -> None:
    """Wrong usage, with the labels that may have been meant."""
    warmwatch("book", "set", "white van", "notes=x")
    ran = warmwatch("book", "show", "whit van")
    assert (ran.code, ran.out) == (2, "")
    assert "near it are: white van" in ran.err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("white van", "bnad=80:90"), "near it are band"),
        (("white van", "band"), "KEY=VALUE"),
        (("white van", "unit=C", "unit=F"), "once"),
        (("serial:COM5", "notes=x"), "link address"),
        (("--", "-x", "notes=x"), "hyphen"),
        (("a\x1bb", "notes=x"), "control"),
        (("", "notes=x"), "at least one"),
        (("x" * 81, "notes=x"), "80"),
        (("shop", "page_port=99999"), "page_port"),
    ],
)
def test_wrong_words_are_refused(
    warmwatch: Run, home: Path, arguments: tuple[str, ...], told: str
) -> None:
    """One sentence, exit code 2, and no book is made."""
    ran = warmwatch("book", "set", *arguments)
    assert ran.code == 2
    assert told in ran.err
    assert not (home / "book.toml").exists()


def test_removing_tells_who_still_names_it(warmwatch: Run, home: Path) -> None:
    """The vehicles stay, and are named."""
    warmwatch("book", "set", "blue", "address=serial:COM5")
    warmwatch("book", "set", "white van", "link=Blue")
    assert "white van" in warmwatch("book", "remove", "BLUE").out
    assert warmwatch("book", "remove", "BLUE").code == 2


def test_check_tells_what_does_not_work_here(warmwatch: Run, home: Path) -> None:
    """Exit code 1 and a line for each, 0 when there is none."""
    assert warmwatch("book", "check").code == 0
    warmwatch("book", "set", "blue", "address=serial:/dev/ttyNONE")
    ran = warmwatch("book", "check")
    assert ran.code == 1
    assert "/dev/ttyNONE: this port is not plugged in" in ran.out
    found = json.loads(warmwatch("book", "check", "--json").out)
    assert found["troubles"][0]["label"] == "blue"


def test_without_a_terminal_it_says_which_command_instead(warmwatch: Run) -> None:
    """`start` names the commands that need no answers; no command at all shows the help."""
    ran = warmwatch("start")
    assert (ran.code, ran.out) == (2, "")
    assert "warmwatch book set" in ran.err
    assert "Usage: warmwatch" in warmwatch().out
