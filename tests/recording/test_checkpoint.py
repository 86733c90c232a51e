"""A recording never closed is good up to its last checkpoint, and a cut before that shows."""

import shutil
from pathlib import Path

import pytest

from tests.recording.invented import ABOUT, JOB, UTC_S, check_items, fold
from warmwatch.commands.main import run
from warmwatch.core.watch import Watch
from warmwatch.recording.names import checkpoint_path, sidecar_path
from warmwatch.recording.seal.checkpoint import read_checkpoint
from warmwatch.recording.seal.key import ShopKey, make_key
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording
from warmwatch.recording.writer import Recorder, create


@pytest.fixture
def key(tmp_path: Path) -> ShopKey:
    return make_key(tmp_path / "key.pem", "Invented workshop")


@pytest.fixture
def recorder(tmp_path: Path, key: ShopKey, monkeypatch: pytest.MonkeyPatch) -> Recorder:
    """Forty rows, the first half of them signed."""
    monkeypatch.setattr("warmwatch.recording.disk.CHECKPOINT_S", 0.0)
    made = create(tmp_path / "r", JOB, "lines:-", ABOUT, UTC_S, signer=key)
    watch, items = Watch(JOB), list(check_items(40))
    for item in items[:20]:
        fold(made, watch, item)
    assert made.flush()
    made.poll()
    assert made.flush()  # for the checkpoint that was asked for
    monkeypatch.setattr("warmwatch.recording.disk.CHECKPOINT_S", 1e9)
    for item in items[20:]:
        fold(made, watch, item)
    return made


def cut(path: Path, rows: int) -> None:
    """Leave so many rows, the header not counted."""
    lines = path.read_bytes().split(b"\r\n")
    path.write_bytes(b"".join(line + b"\r\n" for line in lines[: rows + 1]))


def test_a_killed_recording_is_signed_up_to_its_checkpoint(
    recorder: Recorder, key: ShopKey
) -> None:
    """Never closed, as it is, and by whom and until which row it was signed."""
    recorder.abandon()
    report = verify_recording(recorder.path)
    point = read_checkpoint(checkpoint_path(recorder.path).read_bytes())
    assert report.state is SealState.NEVER_CLOSED
    assert 20 < point.rows < report.rows
    assert f"first {point.rows} rows were signed" in report.checkpoint
    assert key.fingerprint in report.checkpoint
    cut(recorder.path, point.rows)  # behind it nobody can tell a cut from a kill
    assert verify_recording(recorder.path).state is SealState.NEVER_CLOSED


def test_a_cut_before_it_shows(recorder: Recorder, capsys: pytest.CaptureFixture[str]) -> None:
    """CHANGED, with how many rows there were."""
    recorder.abandon()
    point = read_checkpoint(checkpoint_path(recorder.path).read_bytes())
    cut(recorder.path, point.rows - 1)
    report = verify_recording(recorder.path)
    assert (report.state, report.exit_code) == (SealState.CHANGED, 1)
    assert f"cut off: {point.rows} rows were signed" in report.reason
    assert run(["verify", str(recorder.path)]) == 1
    assert "cut off" in capsys.readouterr().out


def test_other_rows_than_those_signed_show(
    recorder: Recorder, tmp_path: Path, key: ShopKey
) -> None:
    """The checkpoint of another recording, with as many rows, by the same key."""
    recorder.abandon()
    other = create(tmp_path / "other", JOB, "lines:-", ABOUT, UTC_S + 1, signer=key)
    watch = Watch(JOB)
    for item in check_items(40):
        fold(other, watch, item)
    other.abandon()
    shutil.copy(checkpoint_path(recorder.path), checkpoint_path(other.path))
    assert "not those signed" in verify_recording(other.path).reason


def test_a_missing_checkpoint_is_told(recorder: Recorder, key: ShopKey) -> None:
    """The sidecar names the key that makes them."""
    recorder.abandon()
    checkpoint_path(recorder.path).unlink()
    report = verify_recording(recorder.path)
    assert report.state is SealState.NEVER_CLOSED
    assert f"no checkpoint by key {key.fingerprint}" in report.checkpoint


@pytest.mark.slow
def test_every_byte_of_it_counts(recorder: Recorder, tmp_path: Path) -> None:
    """A changed checkpoint, or one by another key, is found."""
    recorder.abandon()
    path = checkpoint_path(recorder.path)
    whole = path.read_bytes()
    for at in range(0, len(whole), 7):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        assert verify_recording(recorder.path).state is SealState.CHANGED, at
    stranger = make_key(tmp_path / "other.pem", "Another workshop")
    path.write_text(read_checkpoint(whole).signed(stranger).text(), encoding="ascii")
    assert "does not name" in verify_recording(recorder.path).reason


def test_a_closed_recording_stays_intact_with_it(recorder: Recorder) -> None:
    """And without it, for then its closing row stands for the end."""
    recorder.close(39.5, None)
    assert verify_recording(recorder.path).state is SealState.INTACT
    checkpoint_path(recorder.path).unlink()
    report = verify_recording(recorder.path)
    assert (report.state, report.checkpoint) == (SealState.INTACT, "")
    assert sidecar_path(recorder.path).exists()
