"""A disk that hangs: how long until it is told, a loss of signal is told, and Ctrl-C has ended."""

import shutil
import signal
import time
from functools import partial
from pathlib import Path

from tests.recording.hanging_share import Share, Watched, until
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording


def rows(count: int, folder: Path) -> list[str]:
    """Return one row; each time writes are held until after the watch has ended."""
    if not Path("/dev/fuse").exists() or shutil.which("fusermount3") is None:
        return ["| a disk that hangs | - | not measured: FUSE is not to be had here |"]
    blind, ends = [], []
    for number in range(count):
        with Share.mounted(folder / str(number)) as share:
            blind_s, end_s = _once(share)
            blind.append(blind_s)
            ends.append(end_s)
            until(partial(_is_whole, share))
    came = (
        f"loss of signal told after {min(blind):.1f} to {max(blind):.1f} s of silence, ended "
        f"{min(ends):.1f} to {max(ends):.1f} s after Ctrl-C; all intact once the disk answered"
    )
    return [f"| a disk that hangs in `write`, until after Ctrl-C | {count} | {came} |"]


def _is_whole(share: Share) -> bool:
    return verify_recording(share.recording()).state is SealState.INTACT


def _once(share: Share) -> tuple[float, float]:
    watched = Watched(share)
    for n in range(3):
        watched.feed(50.0 + n)
        watched.next("reading")
    share.hang("write", "fsync")
    watched.feed(60.0)
    watched.next("reading")
    last_s = time.monotonic()
    watched.next("event", "blind")
    blind_s = time.monotonic() - last_s
    asked_s = time.monotonic()
    watched.process.send_signal(signal.SIGINT)
    watched.process.communicate(timeout=60)
    end_s = time.monotonic() - asked_s
    share.answer()
    return blind_s, end_s
