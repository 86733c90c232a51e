"""What is left after a kill, a power cut, a full disk, a removed folder; two watches at once."""

import errno
import os
import random
import shutil
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.recording import kills
from tests.recording.invented import ABOUT, JOB, UTC_S, check_items, fold, record
from warmwatch.core.level.verdict import NOTHING_CHECKED
from warmwatch.core.reading import Item, Mark, Reading
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.outputs.proof.facts import read_items
from warmwatch.recording.disk import DiskFile, Message
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.remembered import Remembered
from warmwatch.recording.rows import HEADER, item_cells
from warmwatch.recording.schema import current_schema
from warmwatch.recording.seal.report import Report, SealState
from warmwatch.recording.seal.verify import verify_bytes, verify_recording
from warmwatch.recording.sidecar import read_sidecar, sidecar_document
from warmwatch.recording.writer import Recorder, create

LEFT = (SealState.INTACT, SealState.TORN, SealState.NEVER_CLOSED)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="looks at processes in /proc")
@pytest.mark.parametrize("helper_too", [False, True])
def test_kill_9_loses_at_most_a_second(tmp_path: Path, helper_too: bool) -> None:
    """Some of the kills of docs/verify.md: each file opens, is torn or whole, and lost <= 1 s."""
    remains = kills.run(4, 1, tmp_path, helper_too=helper_too)
    assert {one.state for one in remains} <= set(LEFT)
    assert max(one.lost_s for one in remains) <= 1.0
    assert sum(one.readings > 0 for one in remains) >= 2


class PowerCut:
    """A disk that surely holds only what was synced, and of the rest any beginning."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now_s = 0.0
        self.synced = 0
        real = os.fsync
        monkeypatch.setattr("warmwatch.recording.disk.time.monotonic", lambda: self.now_s)

        def fsync(handle: int) -> None:
            real(handle)
            self.synced = os.fstat(handle).st_size

        monkeypatch.setattr("warmwatch.recording.files.os.fsync", fsync)


@pytest.mark.slow
def test_a_power_cut_loses_at_most_a_second(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At every moment of a recording at 10 Hz: what was synced is younger than a second, and any
    beginning of the rest, with or without zero bytes behind it, is torn or never closed.
    """
    disk, rng = PowerCut(monkeypatch), random.Random(11)
    opening, bodies = opening_and_bodies(tmp_path / "x", 300)
    file = DiskFile(lambda report: None)
    file.take(("open", opening))
    path = next((tmp_path / "x").glob("*.csv"))
    sidecar = sidecar_path(path).read_bytes()
    for n, body in enumerate(bodies):
        disk.now_s = n / 10.0
        if file.due_in_s == 0.0:  # as `serve` does when nothing else comes
            file.take(("sync",))
        file.take(("row", body))
        data = path.read_bytes()
        sure = verify_bytes("x.csv", data[: disk.synced], sidecar, None)
        assert sure.state is SealState.NEVER_CLOSED
        if n % 5 == 0:
            kept = list(_readings(data[: disk.synced]))
            assert n / 10.0 - (kept[-1] if kept else 0.0) <= 1.0
            cut = data[: rng.randint(disk.synced, len(data))] + bytes(rng.choice((0, 0, 4096)))
            assert verify_bytes("x.csv", cut, sidecar, None).state in LEFT
    file.take(("end",))


def opening_and_bodies(folder: Path, count: int) -> tuple[dict[str, object], list[str]]:
    """Return what a recorder would send for `count` readings at 10 Hz, below the band."""
    schema = current_schema()
    opening: dict[str, object] = {
        "folder": str(folder),
        "stem": "invented",
        "columns": schema.columns,
        "sidecar": sidecar_document(JOB, "lines:-", ABOUT),
        "cells": {"time": "", "elapsed_s": "0.0", "kind": "opened"},
    }
    items = (Reading(n / 10.0, {"fluid_c": 50.0}, utc_s=UTC_S + n) for n in range(count))
    return opening, [schema.body(item_cells(item)) for item in items]


def _readings(data: bytes) -> list[float]:
    rows = [line.split(b",") for line in data.split(b"\r\n")[1:-1]]
    return [float(row[1]) for row in rows if row[2] == b"reading"]


def test_a_full_disk_leaves_whole_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Wherever the disk fills up, it is told as full, what was written is whole, nothing is torn.

    A nearly full disk takes a part of a line first, and then says that it is full.
    """
    opening, bodies = opening_and_bodies(tmp_path / "whole", 30)
    whole = DiskFile(lambda report: None)
    told: list[Message] = []
    room = 0
    real = os.write

    def write(handle: int, data: bytes) -> int:
        left = room - os.fstat(handle).st_size
        if left <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(handle, data[:left])

    whole.take(("open", opening))
    for body in bodies:
        whole.take(("row", body))
    whole.take(("end",))
    size = next((tmp_path / "whole").glob("*.csv")).stat().st_size
    monkeypatch.setattr("warmwatch.recording.disk.os.write", write)
    for room in range(1200, size - 10, 97):
        folder = tmp_path / f"{room}"
        file = DiskFile(told.append)
        file.take(("open", {**opening, "folder": str(folder)}))
        for body in bodies:
            file.take(("row", body))
        file.take(("end",))
        path = next(folder.glob("*.csv"))
        kind, text, there = told[-1]
        assert (kind, there) == ("failed", True)
        assert "No longer recorded" in text
        assert "No space left" in text
        assert verify_recording(path).state is SealState.NEVER_CLOSED
        assert room - 300 < path.stat().st_size <= room


def followed(recorder: Recorder) -> list[str]:
    """Let the disk have everything and return what the mechanic is told."""
    assert recorder.flush()
    recorder.poll()
    return recorder.notices()


def _begun(folder: Path) -> tuple[Recorder, Watch]:
    recorder, watch = create(folder, JOB, "lines:-", ABOUT, UTC_S), Watch(JOB)
    for n in range(20):
        fold(recorder, watch, Reading(float(n), {"fluid_c": 79.0 + n / 10}, utc_s=UTC_S + n))
    assert followed(recorder) == []
    return recorder, watch


def _ended(recorder: Recorder, watch: Watch) -> Report:
    for n in range(20, 40):
        fold(recorder, watch, Reading(float(n), {"fluid_c": 79.0 + n / 10}, utc_s=UTC_S + n))
    recorder.close(39.0, None, NOTHING_CHECKED)
    assert len(list(read_items(recorder.path))) == 40
    return verify_recording(recorder.path)


def _remove(path: Path) -> None:
    shutil.rmtree(path.parent)


def _truncate(path: Path) -> None:
    os.truncate(path, 700)


def _empty(path: Path) -> None:
    os.truncate(path, 0)


def _append(path: Path) -> None:
    with path.open("ab") as file:
        file.write(b"a line of somebody else\r\n")


def _replace(path: Path) -> None:
    other = path.with_name("other")
    other.write_bytes(path.read_bytes())
    other.replace(path)


@pytest.mark.skipif(sys.platform == "win32", reason="an open file cannot be removed there")
@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (_remove, "was removed"),
        (_truncate, "was cut short"),
        (_empty, "was cut short"),
        (_append, "was written to by others"),
        (_replace, "was removed"),
    ],
)
def test_a_spoilt_recording_is_written_anew(
    tmp_path: Path, spoil: Callable[[Path], None], told: str
) -> None:
    """Told within a sync; all of it, from the beginning, is in another file that knows the first,
    and that one verifies.
    """
    recorder, watch = _begun(tmp_path / "here")
    first = recorder.path
    spoil(first)
    spoilt = first.read_bytes() if first.exists() else b""
    (text,) = followed(recorder)
    assert told in text
    assert str(recorder.path) in text
    report = _ended(recorder, watch)
    assert (report.state, report.events) == (SealState.INTACT, "same")
    earlier = read_sidecar(recorder.path)["warmwatch:continues"]
    assert (earlier["recording"], earlier["why"]) == (first.name, told)
    if recorder.path != first:
        assert first.read_bytes() == spoilt  # what is left of it stays as it is


@pytest.mark.skipif(sys.platform == "win32", reason="an open file cannot be removed there")
def test_who_spoils_it_again_and_again_is_told_the_end(tmp_path: Path) -> None:
    """After some times it is given up, in a sentence."""
    recorder, _ = _begun(tmp_path)

    def spoil_often() -> None:
        for _ in range(10):
            os.truncate(recorder.path, 5)
            followed(recorder)

    with pytest.raises(RecordingError, match="not written again any more"):
        spoil_often()
    recorder.abandon()


def _unlink(path: Path) -> None:
    path.unlink()


def _scribble(path: Path) -> None:
    path.write_text("{}", encoding="utf-8")


@pytest.mark.parametrize("spoil", [_unlink, _scribble])
def test_a_spoilt_sidecar_is_written_anew(tmp_path: Path, spoil: Callable[[Path], None]) -> None:
    """Removed or changed while recording: told within a sync, and the recording stays good."""
    recorder, watch = _begun(tmp_path)
    spoil(sidecar_path(recorder.path))
    (text,) = followed(recorder)
    assert "written again" in text
    assert followed(recorder) == []
    assert _ended(recorder, watch).state is SealState.INTACT
    assert sorted(path.suffix for path in tmp_path.iterdir()) == [".csv", ".json"]


def test_a_recording_without_a_reading_is_taken_back(tmp_path: Path) -> None:
    """Whoever ends before the first reading leaves no empty file."""
    create(tmp_path, JOB, "lines:-", ABOUT, UTC_S).abandon()
    assert list(tmp_path.iterdir()) == []


def test_many_rows_are_kept_packed(monkeypatch: pytest.MonkeyPatch) -> None:
    """They come back in their order; beyond the limit nothing is kept, and it says so."""
    rows = Remembered()
    bodies = [f"row {n}, é" for n in range(2500)]
    for body in bodies:
        rows.add(body)
    assert (list(rows), rows.count, rows.whole) == (bodies, 2500, True)
    monkeypatch.setattr("warmwatch.recording.remembered.MOST_PACKED", 10)
    for body in bodies:
        rows.add(body)
    assert (rows.count, rows.whole) == (5000, False)


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
    assert followed(recorder) == []
    (tmp_path / "here").rename(tmp_path / "there")
    fold(recorder, watch, Reading(1.0, {"fluid_c": 50.0}))
    (text,) = followed(recorder)
    assert "was moved or renamed" in text
    assert recorder.displaced
    recorder.close(1.0, None, NOTHING_CHECKED)
    moved = tmp_path / "there" / recorder.path.name
    assert verify_recording(moved).state is SealState.INTACT
    assert len(list(read_items(moved))) == 2
