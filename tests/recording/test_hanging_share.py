"""A file system that truly hangs: the watch goes on, is heard, and ends when it is told to."""

import json
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not Path("/dev/fuse").exists() or shutil.which("fusermount3") is None,
        reason="FUSE is not to be had: test_a_full_pipe_holds_up_nobody stands for it",
    ),
]
LONG_S = 60.0


@dataclass
class Share:
    """A mounted folder; `hang` makes operations wait until `answer`."""

    folder: Path
    behind: Path
    control: Path

    def hang(self, *operations: str) -> None:
        part = self.control.with_name("part")
        part.write_text(" ".join(operations), encoding="ascii")
        part.replace(self.control)

    def answer(self) -> None:
        self.control.unlink(missing_ok=True)

    def recording(self) -> Path:
        return next(self.behind.glob("*.csv"))


@pytest.fixture
def share(tmp_path: Path) -> Iterator[Share]:
    found = Share(tmp_path / "share", tmp_path / "behind", tmp_path / "hangs")
    for folder in (found.folder, found.behind):
        folder.mkdir()
    command = ["-m", "tests.recording.hanging_fs", found.behind, found.folder, found.control]
    with subprocess.Popen([sys.executable, *map(str, command)]) as served:
        until(found.folder.is_mount)
        yield found
        found.answer()
        subprocess.run(["fusermount3", "-u", "-z", str(found.folder)], check=True)
        served.wait(LONG_S)


def until(good: Any) -> None:
    start_s = time.monotonic()
    while not good():
        assert time.monotonic() - start_s < LONG_S
        time.sleep(0.05)


class Watched:
    """A `warmwatch watch lines:-` that records on the share, fed one temperature at a time."""

    def __init__(self, share: Share) -> None:
        words = ["watch", "lines:-", "--band", "80:90", "--json", "--quiet", "--record"]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "warmwatch", *words, str(share.folder)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    def feed(self, fluid_c: float) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{fluid_c}\n")
        self.process.stdin.flush()

    def next(self, kind: str, event: str = "") -> dict[str, Any]:
        """Return the next line of a kind, reading on until it comes."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            found: dict[str, Any] = json.loads(line)
            if found["kind"] == kind and event in ("", found.get("event")):
                return found
        raise AssertionError(f"it ended without {kind} {event}")


def test_the_watch_goes_on_and_ends_while_the_disk_hangs(share: Share) -> None:
    """Writes that wait: each reading is shown, the loss of signal, too, and Ctrl-C ends the watch
    while they still wait. What was not written is named; once the disk answers it is there.
    """
    watched = Watched(share)
    for n in range(3):
        watched.feed(50.0 + n)
        assert watched.next("reading")["fluid_c"] == 50.0 + n
    until(lambda: share.recording().read_bytes().count(b",reading,") == 3)
    share.hang("write", "fsync")
    for n in range(20):
        watched.feed(60.0 + n)
        assert watched.next("reading")["fluid_c"] == 60.0 + n
    watched.next("event", "blind")
    assert share.recording().read_bytes().count(b",reading,") == 3
    watched.process.send_signal(signal.SIGINT)
    _, told = watched.process.communicate(timeout=LONG_S)  # the disk does not answer before
    assert watched.process.returncode == 130
    assert "The disk does not answer" in told
    assert "lines have not reached it" in told
    share.answer()
    until(lambda: verify_recording(share.recording()).state is SealState.INTACT)
    assert share.recording().read_bytes().count(b",reading,") == 23


def test_a_share_that_hangs_from_the_start(share: Share) -> None:
    """Not even the file can be made: the watch runs, and all of it is there later."""
    share.hang("all")
    watched = Watched(share)
    for n in range(5):
        watched.feed(60.0 + n)
        assert watched.next("reading")["fluid_c"] == 60.0 + n
    share.answer()
    assert watched.process.communicate(timeout=LONG_S)
    assert watched.process.returncode == 0
    assert verify_recording(share.recording()).state is SealState.INTACT
    assert share.recording().read_bytes().count(b",reading,") == 5
