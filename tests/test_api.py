"""The public API, its page, and every example in docstrings."""

import doctest
import re
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

import warmwatch
from warmwatch._version import __version__

ROOT = Path(__file__).parent.parent


def test_every_public_name_is_there_and_on_its_page() -> None:
    """Each name in `__all__` can be imported, and docs/api.md describes it."""
    page = (ROOT / "docs/api.md").read_text(encoding="utf-8")
    for name in set(warmwatch.__all__) - {"__version__"}:
        assert getattr(warmwatch, name).__doc__, name
        assert f"`{name}" in page, name


def test_every_class_named_on_its_page_is_public() -> None:
    """What docs/api.md asks the reader to give or catch can be imported from `warmwatch`."""
    page = (ROOT / "docs/api.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`([A-Z][A-Za-z]+)(?:\([^`]*\))?`", page))
    assert named <= set(warmwatch.__all__)
    assert len(named) > 8


def test_what_the_functions_raise_is_public(tmp_path: Path) -> None:
    """A file that is not there is a WarmwatchError, whichever function is asked."""
    gone = tmp_path / "gone.csv"
    for ask in (warmwatch.read_recording, warmwatch.verify, warmwatch.compare):
        with pytest.raises(warmwatch.WarmwatchError, match=r"gone\.csv"):
            ask(gone)


def test_an_unknown_name_is_refused_as_usual() -> None:
    """A misspelt name raises AttributeError, naming it."""
    with pytest.raises(AttributeError, match="wtch"):
        _ = warmwatch.wtch


def test_the_package_alone_loads_nothing_heavy() -> None:
    """`import warmwatch` brings neither pandas nor numpy nor the fold."""
    code = "import sys, warmwatch; print([m for m in sys.modules if 'pandas' in m or 'core' in m])"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "warmwatch.core" not in ran.stdout
    assert "pandas" not in ran.stdout


def test_the_changes_begin_with_this_version() -> None:
    """docs/changes.md names the present version first."""
    page = (ROOT / "docs/changes.md").read_text(encoding="utf-8")
    heads = [line for line in page.splitlines() if line.startswith("## ")]
    assert heads[0] == f"## {__version__}"


@pytest.mark.slow
def test_the_examples_of_the_page_are_true(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every example in docs/api.md prints what the page says."""
    monkeypatch.chdir(ROOT)
    failed, tried = doctest.testfile(str(ROOT / "docs/api.md"), module_relative=False)
    assert tried > 10
    assert failed == 0


def _with_examples() -> list[str]:
    files = sorted((ROOT / "warmwatch").rglob("*.py"))
    return [
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        for path in files
        if ">>> " in path.read_text(encoding="utf-8")
    ]


@pytest.mark.parametrize("name", _with_examples())
def test_the_examples_in_docstrings_are_true(name: str) -> None:
    """Every example in a docstring of the package prints what it says."""
    failed, tried = doctest.testmod(import_module(name))
    assert tried > 0
    assert failed == 0
