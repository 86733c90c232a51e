"""A file system that truly hangs: the watch goes on, is heard, and ends when it is told to."""

import shutil
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.recording.hanging_share import LONG_S, Share, Watched, until
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        not Path("/dev/fuse").exists() or shutil.which("fusermount3") is None,
        reason="FUSE is not to be had: test_a_full_pipe_holds_up_nobody stands for it",
    ),
]


@pytest.fixture
def share(tmp_path: Path) -> Iterator[Share]:
    with Share.mounted(tmp_path) as found:
        yield found


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
