"""A disk that does not answer: the watch goes on, it is told, and nothing is lost when it does."""

import errno
import os
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.recording.invented import ABOUT, JOB, UTC_S
from warmwatch.app.session import Session
from warmwatch.core.events import Event, EventKind
from warmwatch.core.level.verdict import NOTHING_CHECKED
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Item, Reading
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.links.base import LinkItem
from warmwatch.outputs.base import Entry, Summary
from warmwatch.outputs.proof.facts import read_items
from warmwatch.recording import disk as disks
from warmwatch.recording import files, writer
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording
from warmwatch.recording.writer import Recorder, create
from warmwatch.words.catalogue import phrase
from warmwatch.words.view import View


class Disk:
    """Answers each fsync only once `answers` is set; `fails` makes the answer an error."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.answers = threading.Event()
        self.answers.set()
        self.fails = False
        real = os.fsync

        def fsync(handle: int) -> None:
            self.answers.wait(30.0)
            if self.fails:
                raise OSError(errno.EIO, "Input/output error")
            real(handle)

        monkeypatch.setattr(os, "fsync", fsync)


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Iterator[Disk]:
    disk = Disk(monkeypatch)
    yield disk
    disk.answers.set()
    wait_for_threads()


def wait_for_threads() -> None:
    """None waits on, or keeps a file open, after the test."""
    for thread in threading.enumerate():
        if thread.name == "disk":
            thread.join()


def readings(count: int) -> list[Item]:
    return [Reading(float(t), {"fluid_c": 50.0}, utc_s=UTC_S + t) for t in range(count)]


def numbers(path: Path) -> list[float]:
    return [item.elapsed_s for item in read_items(path) if isinstance(item, Reading)]


def hanging(folder: Path, disk: Disk, count: int = 500) -> Recorder:
    """Return a recorder whose disk stopped answering before the first of `count` readings."""
    recorder = create(folder, JOB, "lines:-", ABOUT, UTC_S)
    recorder.flush()
    disk.answers.clear()
    recorder.event(Event(0.0, EventKind.SEEING), None)
    for item in readings(count):
        recorder.item(item)
    return recorder


def test_a_hanging_disk_holds_up_nobody_and_loses_nothing(tmp_path: Path, disk: Disk) -> None:
    """500 readings are taken while it does not answer; when it does all of them are there."""
    recorder = hanging(tmp_path, disk)
    assert recorder.waiting >= 500
    assert numbers(recorder.path) == []
    disk.answers.set()
    recorder.close(500.0, None, NOTHING_CHECKED)
    assert numbers(recorder.path) == [float(t) for t in range(500)]


def test_an_error_after_a_wait_is_told(tmp_path: Path, disk: Disk) -> None:
    """A disk that at last says no: RecordingError."""
    recorder = hanging(tmp_path, disk, 3)
    disk.fails = True
    disk.answers.set()
    with pytest.raises(RecordingError, match="Input/output error"):
        recorder.close(3.0, None)


def test_a_disk_that_never_answers_is_told_at_the_end(
    tmp_path: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Closing waits for it for so long, and then says how much is missing."""
    monkeypatch.setattr(writer, "CLOSING_S", 0.1)
    recorder = hanging(tmp_path, disk, 7)
    with pytest.raises(RecordingError, match="last 9 lines have not reached it"):
        recorder.close(7.0, None)


def test_who_wants_to_end_waits_for_a_short_time(
    tmp_path: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C while the closing waits makes the wait as short as one after Ctrl-C."""
    monkeypatch.setattr(writer, "HURRIED_S", 0.1)
    recorder, asked = hanging(tmp_path, disk, 7), iter([False, False])
    with pytest.raises(RecordingError, match="have not reached it"):
        recorder.close(7.0, None, hurried=lambda: next(asked, True))


def test_memory_is_bounded(tmp_path: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is kept for a disk that does not answer has an end, and that is told."""
    monkeypatch.setattr(writer, "MOST_KEPT", 9_600)
    recorder = hanging(tmp_path, disk, 1)
    long = Reading(11.0, {"fluid_c": 50.0}, raw="0" * 2000)
    for _ in range(4):
        recorder.item(long)
    with pytest.raises(RecordingError, match="does not answer"):
        recorder.item(long)
    recorder.abandon(0.0)


def test_a_folder_that_hangs_at_the_start_is_not_waited_for(
    tmp_path: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The watch begins with its recording kept in memory; the file gets it when it answers."""
    monkeypatch.setattr(writer, "OPENING_S", 0.1)
    disk.answers.clear()
    recorder = create(tmp_path, JOB, "lines:-", ABOUT, UTC_S)
    for item in readings(5):
        recorder.item(item)
    assert not recorder.opened
    disk.answers.set()
    recorder.close(5.0, None, NOTHING_CHECKED)
    assert recorder.opened
    assert verify_recording(recorder.path).state is SealState.INTACT


class OverTime:
    """A link that gives a reading every 10 ms while the disk hangs, and a while after."""

    poll_s = None
    replay = False

    def __init__(self, disk: Disk) -> None:
        self._disk = disk
        self.gave = 0

    def describe(self) -> dict[str, object]:
        return {}

    def elapsed_s(self) -> float:
        return self.gave / 100.0

    def items(self) -> Iterator[LinkItem]:
        for self.gave in range(150):
            if self.gave == 50:
                self._disk.answers.clear()
            if self.gave == 120:
                self._disk.answers.set()
            time.sleep(0.01)
            yield Reading(self.elapsed_s(), {"fluid_c": 50.0})

    def close(self) -> None:
        pass


class Kept:
    """Keeps the notices, and at which reading each came."""

    def __init__(self, link: OverTime) -> None:
        self._link = link
        self.told: list[tuple[str, int]] = []
        self.trouble = ""

    def take(self, entry: Entry) -> None:
        if isinstance(entry, Notice):
            self.told.append((entry.text, self._link.gave))

    def show(self, view: View) -> None:
        pass

    def close(self, summary: Summary) -> None:
        self.trouble = summary.view.recording_trouble


@pytest.mark.slow
def test_the_mechanic_is_told_and_the_watch_goes_on(
    tmp_path: Path, disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The stall is told while it lasts, its end, too; the recording is whole."""
    monkeypatch.setattr("warmwatch.recording.disk.SYNC_S", 0.05)
    monkeypatch.setattr(writer, "STALLED_S", 0.3)
    recorder = create(tmp_path, JOB, "lines:-", ABOUT, UTC_S)
    link = OverTime(disk)
    kept = Kept(link)
    Session(link, Watch(JOB), [kept], address="lines:-", recorder=recorder).run()
    (stalled, at), (again, later), *_ = kept.told
    assert stalled == phrase("notice.stalled")
    assert 50 < at < 120 <= later
    assert "answers again" in again
    assert kept.trouble == ""
    assert len(numbers(recorder.path)) == 150
    assert verify_recording(recorder.path).state is SealState.INTACT


@pytest.mark.skipif(sys.platform == "win32", reason="a full pipe does not block there")
def test_a_full_pipe_holds_up_nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Writes that truly wait, to a pipe that nobody reads: readings are taken, and told waiting."""
    out, into = os.pipe()
    real = files.open_new
    monkeypatch.setattr(
        disks, "open_new", lambda path: real(path) if path.suffix != ".csv" else os.dup(into)
    )
    monkeypatch.setattr(writer, "STALLED_S", 0.2)
    recorder = create(tmp_path, JOB, "lines:-", ABOUT, UTC_S)
    os.close(into)
    for item in readings(2000):  # more than a pipe holds
        recorder.item(item)
    time.sleep(0.3)
    recorder.poll()
    assert recorder.stalled
    assert recorder.waiting > 500
    with open(out, "rb") as pipe:
        reader = threading.Thread(target=lambda: lines.extend(pipe.read().split(b"\r\n")))
        lines: list[bytes] = []
        reader.start()
        recorder.close(2000.0, None, NOTHING_CHECKED)
        reader.join()
    assert sum(b",reading," in line for line in lines) == 2000
    wait_for_threads()
