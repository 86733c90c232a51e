"""`warmwatch shortcut`: the file that begins warmwatch by a double-click."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.commands.conftest import Run
from warmwatch.commands.shortcut import places, shortcut
from warmwatch.errors import UsageError


def test_a_desktop_entry_runs_the_command_in_a_terminal() -> None:
    """Keys of the freedesktop.org Desktop Entry Specification 1.5: Type, Name, Exec, Terminal."""
    name, text = shortcut("linux", "/home/a b/bin/warmwatch")
    assert name == "warmwatch.desktop"
    lines = text.splitlines()
    assert lines[0] == "[Desktop Entry]"
    keys = dict(line.split("=", 1) for line in lines[1:])
    assert keys["Type"] == "Application"
    assert keys["Terminal"] == "true"
    assert keys["Exec"] == '"/home/a b/bin/warmwatch"'


def test_on_windows_it_is_a_batch_file() -> None:
    """It changes to the home folder, quotes the path, doubles per cent signs, and stays open."""
    name, text = shortcut("win32", r"C:\a b\100%\warmwatch.exe")
    assert name == "warmwatch.bat"
    assert text.split("\r\n")[1:4] == [
        'cd /d "%USERPROFILE%"', r'"C:\a b\100%%\warmwatch.exe"', "pause",
    ]  # fmt: skip


@pytest.mark.skipif(sys.platform == "win32", reason="a shell script")
def test_on_macos_it_is_a_script_that_runs(tmp_path: Path) -> None:
    """A shell takes it, goes home and runs the command, whose path holds blanks."""
    program = tmp_path / "a b" / "warmwatch"
    program.parent.mkdir()
    program.write_text("#!/bin/sh\npwd\n", encoding="utf-8")
    program.chmod(0o755)
    name, text = shortcut("darwin", str(program))
    (tmp_path / name).write_text(text, encoding="utf-8")
    env = {**os.environ, "HOME": str(tmp_path)}
    ran = subprocess.run(
        ["sh", tmp_path / name], env=env, capture_output=True, text=True, check=True
    )
    assert ran.stdout.strip() == str(tmp_path)


@pytest.mark.parametrize("program", ['/a"b/warmwatch', "/a$b/warmwatch", "/a`b/warmwatch"])
def test_a_path_that_would_mean_something_else_is_refused(program: str) -> None:
    """No quoting tricks: the sentence says what to do."""
    with pytest.raises(UsageError, match="install elsewhere"):
        shortcut("linux", program)


def test_it_is_written_where_asked_and_nothing_foreign_is_lost(
    warmwatch: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once more over our own file; never over another's."""
    monkeypatch.setattr(sys, "platform", "linux")
    for _ in range(2):
        assert warmwatch("shortcut", "--folder", tmp_path / "desk").code == 0
    path = tmp_path / "desk" / "warmwatch.desktop"
    assert path.stat().st_mode & 0o111
    path.write_text("mine", encoding="utf-8")
    assert warmwatch("shortcut", "--folder", tmp_path / "desk").code == 2
    assert path.read_text(encoding="utf-8") == "mine"


def test_the_places(tmp_path: Path) -> None:
    """The desktop where there is one, and the menu of applications on Linux."""
    with pytest.raises(UsageError, match="--folder"):
        places("win32", None, lambda: tmp_path)
    (tmp_path / "Desktop").mkdir()
    assert places("win32", None, lambda: tmp_path) == [tmp_path / "Desktop"]
    assert len(places("linux", None, lambda: tmp_path)) == 2
