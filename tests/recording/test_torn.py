"""What is left after a kill, a power cut, a full disk, a removed folder; two watches at once."""

import errno
import os
import random
import shutil
import sys
import threading
from pathlib import Path

import pytest

from tests.recording import kills
from tests.recording.invented import ABOUT, JOB, UTC_S, check_items, fold, record
from warmwatch.core.reading import Item, Mark, Reading
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.outputs.proof.facts import read_items
from warmwatch.recording.rows import HEADER
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_bytes, verify_recording
from warmwatch.recording.sidecar import sidecar_path
from warmwatch.recording.writer import Recorder, create

LEFT = (SealState.INTACT, SealState.TORN, SealState.NEVER_CLOSED)


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL is not there")
def test_kill_9_loses_at_most_a_second(tmp_path: Path) -> None:
    """10 of the 200 kills of docs/verify.md: each file opens, is torn or whole, and lost <= 1 s."""
    remains = kills.run(10, 1, tmp_path)
    assert {one.state for one in remains} <= set(LEFT)
    assert max(one.lost_s for one in remains) <= 1.0
    assert sum(one.readings > 0 for one in remains) >= 5


class PowerCut:
    """A disk that surely holds only what was synced, and of the rest any beginning."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now_s = 0.0
        self.synced = 0
        real = os.fsync
        monkeypatch.setattr("warmwatch.recording.writer.time.monotonic", lambda: self.now_s)

        def fsync(handle: int) -> None:
            real(handle)
            self.synced = os.fstat(handle).st_size

        monkeypatch.setattr("warmwatch.recording.disk.os.fsync", fsync)


def test_a_power_cut_loses_at_most_a_second(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At every moment of a recording at 10 Hz: what was synced is younger than a second, and any
    beginning of the rest, with or without zero bytes behind it, is torn or never closed.
    """
    disk, rng = PowerCut(monkeypatch), random.Random(11)
    recorder = create(tmp_path, JOB, "lines:-", ABOUT, UTC_S)
    sidecar = sidecar_path(recorder.path).read_bytes()
    watch = Watch(JOB)
    for n in range(300):
        disk.now_s = n / 10.0
        fold(recorder, watch, Reading(n / 10.0, {"fluid_c": 76.0 + n * 0.04}, utc_s=UTC_S + n))
        data = recorder.path.read_bytes()
        sure = verify_bytes("x.csv", data[: disk.synced], sidecar, None)
        assert sure.state is SealState.NEVER_CLOSED
        if n % 5 == 0:
            kept = list(_readings(data[: disk.synced]))
            assert n / 10.0 - (kept[-1] if kept else 0.0) <= 1.0
            cut = data[: rng.randint(disk.synced, len(data))] + bytes(rng.choice((0, 0, 4096)))
            assert verify_bytes("x.csv", cut, sidecar, None).state in LEFT
    recorder.abandon()


def _readings(data: bytes) -> list[float]:
    rows = [line.split(b",") for line in data.split(b"\r\n")[1:-1]]
    return [float(row[1]) for row in rows if row[2] == b"reading"]


class FullDisk:
    """A file that takes `room` bytes, perhaps half of the last line, and then is full."""

    def __init__(self, path: Path, room: int) -> None:
        self._file = path.open("xb", buffering=0)
        self._room = room

    @property
    def closed(self) -> bool:
        return self._file.closed

    def fileno(self) -> int:
        return self._file.fileno()

    def close(self) -> None:
        self._file.close()

    def write(self, data: bytes) -> int:
        taken = data[: max(0, self._room)]
        if not taken:
            raise OSError(errno.ENOSPC, "No space left on device")
        self._room -= len(taken)
        return self._file.write(taken)


def test_a_full_disk_leaves_whole_lines(tmp_path: Path) -> None:
    """Wherever the disk fills up, it is told, what was written is whole, and nothing is torn."""
    whole = record(tmp_path / "whole", check_items(30, 0.25)).read_bytes()
    opened = whole.split(b"\r\n")[1].split(b",")
    cells = {"time": opened[0].decode(), "elapsed_s": "0.0", "kind": "opened"}
    cells["text"] = next(part.decode() for part in opened if part.startswith(b"sidecar="))
    sidecar = sidecar_path(next((tmp_path / "whole").glob("*.csv"))).read_bytes()
    for room in range(1200, len(whole) - 200, 97):
        path = tmp_path / f"{room}.csv"
        recorder = Recorder(path, FullDisk(path, room), cells)  # type: ignore[arg-type]
        watch = Watch(JOB)
        with pytest.raises(RecordingError, match="No longer recorded"):
            _fold_all(recorder, watch)
        recorder.abandon()
        report = verify_bytes(path.name, path.read_bytes(), sidecar, None)
        assert report.state is SealState.NEVER_CLOSED


def _fold_all(recorder: Recorder, watch: Watch) -> None:
    for item in check_items(30, 0.25):
        fold(recorder, watch, item)


@pytest.mark.skipif(sys.platform == "win32", reason="an open file cannot be removed there")
def test_a_removed_recording_is_noticed(tmp_path: Path) -> None:
    """A folder taken away under the watch: told within a sync, instead of writing to nowhere."""
    folder = tmp_path / "gone"
    recorder = create(folder, JOB, "lines:-", ABOUT, UTC_S)
    recorder.item(Reading(0.0, {"fluid_c": 50.0}))
    shutil.rmtree(folder)
    with pytest.raises(RecordingError, match="was removed"):
        recorder.sync()
    recorder.abandon()


def test_two_watches_in_one_folder_do_not_mix(tmp_path: Path) -> None:
    """Eight recorders opened at the same moment with the same labels: eight files, all intact."""
    paths: list[Path] = []
    barrier = threading.Barrier(8)

    def one(number: int) -> None:
        barrier.wait()
        items: list[Item] = [
            Reading(float(t), {"fluid_c": 50.0 + number}, utc_s=UTC_S + t) for t in range(40)
        ]
        paths.append(record(tmp_path, items))

    threads = [threading.Thread(target=one, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(paths)) == 8
    for path in paths:
        assert verify_recording(path).state is SealState.INTACT
        kept = [i.values["fluid_c"] for i in read_items(path) if isinstance(i, Reading)]
        assert len(set(kept)) == 1
        assert len(kept) == 40


def test_whatever_the_end_the_start_can_be_read(tmp_path: Path) -> None:
    """From a file cut anywhere, every whole row before the cut is read."""
    path = record(tmp_path, check_items(30, 0.25))
    data = path.read_bytes()
    items = list(read_items(path))
    for cut in range(len(HEADER) + 2, len(data), 61):
        path.write_bytes(data[:cut])
        kept = list(read_items(path))
        assert kept == items[: len(kept)]
        whole = data[:cut].split(b"\r\n")[1:-1]
        wanted = [line for line in whole if line.split(b",")[2] in (b"reading", b"mark", b"tick")]
        assert len(kept) == len(wanted)
    assert any(isinstance(item, Mark) for item in items)


@pytest.mark.skipif(sys.platform == "win32", reason="an open file cannot be moved there")
def test_a_moved_recording_is_told_and_goes_on(tmp_path: Path) -> None:
    """A folder moved under the watch: told, nothing lost, and the file is whole where it is now."""
    recorder, watch = create(tmp_path / "here", JOB, "lines:-", ABOUT, UTC_S), Watch(JOB)
    fold(recorder, watch, Reading(0.0, {"fluid_c": 50.0}))
    recorder.sync()
    assert recorder.displaced == ""
    (tmp_path / "here").rename(tmp_path / "there")
    fold(recorder, watch, Reading(1.0, {"fluid_c": 50.0}))
    recorder.sync()
    assert "was moved or renamed" in recorder.displaced
    recorder.close(1.0, None, "no-check")
    moved = tmp_path / "there" / recorder.path.name
    assert verify_recording(moved).state is SealState.INTACT
    assert len(list(read_items(moved))) == 2
