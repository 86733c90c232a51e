"""Kills recording processes at random moments and looks at what is left.

Each child records at 10 Hz as the session does, through a helper process, and says after each
reading that it was taken. The parent sends SIGKILL at a random moment, to the child or to both.
`python -m tests.trust kills` does 200 and prints the figures.
"""

import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from tests.recording.invented import JOB, fold
from warmwatch.core.reading import Reading
from warmwatch.core.watch import Watch
from warmwatch.outputs.proof.facts import read_items
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording
from warmwatch.recording.writer import create

RATE_HZ = 10.0
AT_ONCE = 10


@dataclass(frozen=True, slots=True)
class Remains:
    """What one killed recording left: `lost_s` of what its process had been told was taken."""

    state: SealState
    lost_s: float
    readings: int


def child(folder: Path) -> None:
    """Record for ever at RATE_HZ; print the number of each reading once it was recorded."""
    recorder = create(folder, JOB, "lines:-", {}, time.time(), helper=True)
    watch, start_s, number = Watch(JOB), time.monotonic(), 0
    assert isinstance(recorder.helper, int)
    print(recorder.path, flush=True)
    print(recorder.helper, flush=True)
    while True:
        due_s = start_s + number / RATE_HZ
        time.sleep(max(0.0, due_s - time.monotonic()))
        fluid_c = 76.0 + number * 0.05
        fold(recorder, watch, Reading(number / RATE_HZ, {"fluid_c": fluid_c}, utc_s=time.time()))
        recorder.poll()
        print(number, flush=True)
        number += 1


def run(count: int, seed: int, folder: Path, *, helper_too: bool = False) -> list[Remains]:
    """Kill `count` children at random moments and return what each left."""
    rng = random.Random(seed)
    remains: list[Remains] = []
    while len(remains) < count:
        batch = min(AT_ONCE, count - len(remains))
        started = [_start(folder / f"{len(remains) + n}") for n in range(batch)]
        paths = [Path(_next_line(process)) for process in started]
        helpers = [int(_next_line(process)) for process in started]
        moments = sorted((rng.uniform(0.0, 4.0), n) for n in range(batch))
        start_s = time.monotonic()
        for moment_s, n in moments:
            time.sleep(max(0.0, start_s + moment_s - time.monotonic()))
            started[n].kill()
            if helper_too:
                os.kill(helpers[n], signal.SIGKILL)
        for helper in helpers:
            _wait_for_end(helper)
        remains += [_look(*pair) for pair in zip(started, paths, strict=True)]
    return remains


def _start(folder: Path) -> "subprocess.Popen[str]":
    command = [sys.executable, "-m", "tests.recording.kills", "child", str(folder)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def _wait_for_end(helper: int) -> None:
    """It is no child of ours, so it can only be asked for; a zombie of nobody has ended, too."""
    status = Path(f"/proc/{helper}/stat")
    until_s = time.monotonic() + 60.0
    while time.monotonic() < until_s:
        try:
            if status.read_text(encoding="ascii").rpartition(")")[2].split()[0] == "Z":
                return
        except OSError:
            return
        time.sleep(0.02)
    raise TimeoutError(f"the helper {helper} goes on")


def _next_line(process: "subprocess.Popen[str]") -> str:
    assert process.stdout is not None
    return process.stdout.readline().strip()  # once it has opened its recording


def _look(process: "subprocess.Popen[str]", path: Path) -> Remains:
    out, _ = process.communicate()
    said = out.split("\n")[:-1]  # a last line without its end was cut by the kill
    report = verify_recording(path)
    kept = [item.elapsed_s for item in read_items(path)]
    told_s = int(said[-1]) / RATE_HZ if said else 0.0
    last_s = kept[-1] if kept else 0.0
    return Remains(report.state, max(0.0, told_s - last_s), len(kept))


if __name__ == "__main__":
    child(Path(sys.argv[2]))
