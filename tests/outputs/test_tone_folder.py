"""What a killed run leaves in the temporary folder is removed by the next one."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from warmwatch.outputs.sound.tone_folder import make_tone_folder


def ended_process() -> int:
    with subprocess.Popen([sys.executable, "-c", ""]) as process:
        process.wait()
    return process.pid


@pytest.mark.skipif(sys.platform == "win32", reason="there the age decides")
def test_folders_of_dead_runs_go_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those of live runs, of other users, links and other names stay."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    gone, mine = ended_process(), os.getpid()
    left = tmp_path / f"warmwatch-tones-{gone}-abc"
    left.mkdir()
    (left / "entered.wav").write_bytes(b"x")
    stays = [tmp_path / f"warmwatch-tones-{mine}-abc", tmp_path / f"tones-{gone}-abc"]
    for folder in stays:
        folder.mkdir()
    link = tmp_path / f"warmwatch-tones-{gone}-link"
    link.symlink_to(stays[0])
    made = make_tone_folder()
    assert set(tmp_path.iterdir()) == {*stays, link, made}


def test_a_folder_of_another_user_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever made it is asked before anything is removed."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    other = tmp_path / f"warmwatch-tones-{ended_process()}-abc"
    other.mkdir()
    monkeypatch.setattr("os.getuid", lambda: os.geteuid() + 1)
    make_tone_folder()
    assert other.exists()
