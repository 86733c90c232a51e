"""`warmwatch tones`, in process and as a real process with fake players on PATH."""

import json
import os
import subprocess
import sys
import wave
from pathlib import Path

import pytest

from tests.outputs.fake_programs import FakePrograms
from warmwatch.commands.main import run
from warmwatch.outputs.sound.tones import TONES


def process(programs: FakePrograms, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the command with nothing but the fake programs on PATH."""
    return subprocess.run(
        [sys.executable, "-m", "warmwatch", "tones", *arguments],
        capture_output=True,
        text=True,
        env={**os.environ, "PATH": str(programs.folder), "PYTHONIOENCODING": "ascii"},
        timeout=60,
        check=False,
    )


@pytest.fixture
def programs(tmp_path: Path) -> FakePrograms:
    return FakePrograms(tmp_path)


def test_dry_writes_every_tone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--dry DIR` makes the folder and leaves one readable WAV file for each tone."""
    assert run(["tones", "--dry", str(tmp_path / "new" / "wav")]) == 0
    for name in TONES:
        with wave.open(str(tmp_path / "new" / "wav" / f"{name}.wav")) as file:
            assert file.getnframes() > 0.5 * file.getframerate()
    assert len(capsys.readouterr().out.splitlines()) == len(TONES)


def test_dry_with_names_writes_only_those(tmp_path: Path) -> None:
    """Named tones are the only ones written."""
    assert run(["tones", "blind", "--dry", str(tmp_path)]) == 0
    assert [path.name for path in tmp_path.iterdir()] == ["blind.wav"]


def test_json_is_one_object(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--json` prints one object with each tone's pulses and, with `--dry`, its file."""
    assert run(["tones", "nearing", "--json", "--dry", str(tmp_path)]) == 0
    (tone,) = json.loads(capsys.readouterr().out)["tones"]
    assert tone["name"] == "nearing"
    assert [pulse[0] for pulse in tone["pulses"]] == ["low", "high"]
    assert Path(tone["file"]).exists()


def test_unknown_name_lists_the_tones(capsys: pytest.CaptureFixture[str]) -> None:
    """A wrong name is wrong usage, answered by the names there are."""
    assert run(["tones", "gong"]) == 2
    error = capsys.readouterr().err
    assert "There is no tone gong" in error
    assert "top-nearing" in error


def test_unwritable_folder_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder that cannot be made fails with one sentence and exit code 1."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert run(["tones", "--dry", str(tmp_path / "file")]) == 1
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "choose another folder" in error


@pytest.mark.slow
def test_each_tone_is_played_in_turn_and_named(programs: FakePrograms) -> None:
    """Every tone is heard to its end, in the order of the lines that name them."""
    programs.add("paplay")
    done = process(programs)
    assert done.returncode == 0
    assert programs.lines("end") == [f"end paplay {name}.wav" for name in TONES]
    named = [line.split()[0] for line in done.stdout.splitlines()[2:]]
    assert named == list(TONES)
    assert done.stderr == ""


@pytest.mark.slow
def test_speaking_needs_a_voice(programs: FakePrograms) -> None:
    """Without a voice `--speak` is refused; with one the words follow the tone."""
    programs.add("paplay")
    done = process(programs, "nearing", "--speak")
    assert done.returncode == 2
    assert "no voice" in done.stderr
    programs.add("espeak-ng")
    assert process(programs, "nearing", "--speak").returncode == 0
    assert programs.lines("end espeak-ng")[-1] == "end espeak-ng -v en -s 150 The band is near."


def test_nothing_to_be_heard_is_a_failure(programs: FakePrograms) -> None:
    """Without a player and without a terminal it says so and exits 1."""
    done = process(programs, "blind")
    assert done.returncode == 1
    assert done.stdout.startswith("NO SOUND")
    assert "Nothing could be heard" in done.stderr


@pytest.mark.slow
def test_failing_player_is_told_and_counts_as_nothing_heard(programs: FakePrograms) -> None:
    """A player that fails is told, and the exit code says that nothing was heard."""
    programs.add("aplay", code=1)
    done = process(programs, "blind")
    assert done.returncode == 1
    assert "aplay failed just now" in done.stderr
    assert process(programs).returncode == 1
    assert len(programs.lines("start")) == 1 + 3
