"""Ends watches by signals at random moments, from before their first byte until their end.

What is left must be in order: no recording at all, or one that is closed and intact (a recording
whose program could not be asked, after SIGKILL, may be never closed). `python -m tests.trust
endings` does 200 and prints the figures.
"""

import random
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
LONGEST_S = 60.0
GOOD = {"none", str(SealState.INTACT)}


def table(path: Path) -> Path:
    """Write a table of an invented warm-up that is replayed at its own pace."""
    rows = (f"{t / 10},{70 + t / 40}" for t in range(200))
    path.write_text("\n".join(["t,temp", *rows]) + "\n", encoding="utf-8")
    return path


def run(count: int, seed: int, folder: Path, longest_s: float = 2.0) -> "Counter[str]":
    """Return how many endings left what: "none", or what `verify` says of the recording.

    Every other one comes up to `longest_s` after the start, the rest after the file was there.
    """
    rng, found = random.Random(seed), Counter[str]()
    rise = table(folder / "rise.csv")
    for number in range(count):
        record = folder / f"{number}"
        begun = number % 2 == 1
        found[end(rise, record, rng.choice(SIGNALS), rng.uniform(0.0, longest_s), begun)] += 1
    return found


def end(rise: Path, record: Path, number: signal.Signals, after_s: float, begun: bool) -> str:
    """Start a watch, end it after a time from its start or its first byte, say what it left."""
    what = ["watch", str(rise), "--column", "elapsed_s=t", "--column", "fluid_c=temp"]
    how = ["--band", "80:90", "--pace", "real", "--quiet", "--plain", "--record", str(record)]
    process = subprocess.Popen(
        [sys.executable, "-m", "warmwatch", *what, *how],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    until_s = time.monotonic() + LONGEST_S
    while begun and not record.exists() and time.monotonic() < until_s:
        time.sleep(0.001)
    time.sleep(after_s)
    process.send_signal(number)
    process.wait(LONGEST_S)
    return remains(record)


def remains(record: Path) -> str:
    """What lies in the folder once nobody writes there any more."""
    until_s = time.monotonic() + LONGEST_S
    while (state := _state(record)) not in GOOD and time.monotonic() < until_s:
        time.sleep(0.05)  # the helper of one that was ended at once is still at it
    return state


def _state(record: Path) -> str:
    files = sorted(record.iterdir()) if record.exists() else []
    if not files:
        return "none"
    if len(files) != 2:
        return "half"
    return str(verify_recording(files[0]).state)
