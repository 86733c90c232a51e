"""The soak: real `warmwatch watch` processes against stand-ins that go wrong at random.

    python -m tests.soak.soak --minutes 60 --pace 10

An hour of the vehicle's time at ten times its pace. Every reading that comes out is held against
the truth at that moment; every silence must have been told; memory must stay flat; the recording
must verify at the end. Prints one JSON object a link and exits with 1 if anything was wrong.
"""

import argparse
import json
import queue
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import asdict, dataclass, field
from pathlib import Path

from tests.soak.rigs import (
    ROOT,
    EthernetRig,
    FramesRig,
    PrinterRig,
    Rig,
    TalkRig,
    TextRig,
    TwoSendersRig,
)

TOLERANCE_C = 1.0
"""Ours in the exchange of text adapters; the pace adds what the fluid does meanwhile."""
BLIND_AFTER_S = 5.0
FAULT_S = (2.0, 9.0)
CALM_S = (6.0, 12.0)
QUEUED_S = 0.6
ENDED_BY_CTRL_C = 130


@dataclass
class Figures:
    """What came of one link."""

    name: str
    readings: int = 0
    good: int = 0
    doubtful: int = 0
    wrong: list[tuple[float, list[float]]] = field(default_factory=list)
    worst_c: float = 0.0
    blind: int = 0
    seeing: int = 0
    untold_silences: int = 0
    longest_untold_s: float = 0.0
    faults: dict[str, int] = field(default_factory=dict)
    memory_kib: list[int] = field(default_factory=list)
    cpu_s: float = 0.0
    exit_code: int | None = None
    traceback: bool = False
    verified: int | None = None

    @property
    def memory_growth(self) -> float:
        """The last tenth's mean over the mean of the tenth after the first fifth."""
        tenth = max(1, len(self.memory_kib) // 10)
        early = self.memory_kib[2 * tenth : 3 * tenth] or self.memory_kib[:1]
        late = self.memory_kib[-tenth:]
        return sum(late) / len(late) / (sum(early) / len(early)) - 1.0

    def faulty(self, growth: float) -> list[str]:
        """Return what was wrong, in words."""
        checks = {
            "no readings": self.good > 0,
            "a wrong value": not self.wrong,
            "an untold silence": self.untold_silences == 0,
            "it crashed": self.exit_code in (0, ENDED_BY_CTRL_C) and not self.traceback,
            "the recording does not verify": self.verified == 0,
            "memory grew": self.memory_growth < growth,
        }
        return [words for words, fine in checks.items() if not fine]


class Watcher:
    """One `warmwatch watch --json` process, its lines, and the figures made of them."""

    def __init__(self, rig: Rig, folder: Path, slope_c_per_s: float) -> None:
        self.rig = rig
        self.figures = Figures(rig.name)
        self._slope = slope_c_per_s
        self._folder = folder / f"recordings-{rig.name}"
        self._errors = (folder / f"{rig.name}.err").open("w", encoding="utf-8")
        code = "import sys; from warmwatch.commands.main import main; main()"
        command = [sys.executable, "-c", code, "watch", rig.address, "--band", "80:90", "--json"]
        self.process = subprocess.Popen(
            [*command, "--quiet", "--record", str(self._folder)],
            stdout=subprocess.PIPE, stderr=self._errors, stdin=subprocess.DEVNULL,
            text=True, cwd=ROOT,
        )  # fmt: skip
        self._lines: queue.Queue[tuple[float, str]] = queue.Queue()
        self._reader = threading.Thread(target=self._read)
        self._reader.start()
        self._last_good_s: float | None = None
        self._told = False

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._lines.put((time.monotonic(), line))

    def take(self) -> None:
        """Judge what came since the last call."""
        while not self._lines.empty():
            at_s, line = self._lines.get()
            item = json.loads(line)
            if item["kind"] == "reading":
                self._reading(at_s, item)
            elif item["kind"] == "event":
                self._event(item["event"])

    def _reading(self, at_s: float, item: dict[str, object]) -> None:
        figures = self.figures
        figures.readings += 1
        if "fluid_c" in (item.get("doubts") or {}):  # type: ignore[operator]
            figures.doubtful += 1
            return
        if "fluid_c" not in item:
            return
        figures.good += 1
        value = float(str(item["fluid_c"]))
        truths = self.rig.truths(at_s)
        off = min(abs(value - truth) for truth in truths)
        figures.worst_c = max(figures.worst_c, off)
        if off > TOLERANCE_C + self._slope * QUEUED_S:
            figures.wrong.append((value, truths))
        if self._last_good_s is not None:
            silence_s = at_s - self._last_good_s
            if silence_s > BLIND_AFTER_S + 1.0 and not self._told:
                figures.untold_silences += 1
                figures.longest_untold_s = max(figures.longest_untold_s, silence_s)
        self._last_good_s, self._told = at_s, False

    def _event(self, name: str) -> None:
        self.figures.blind += name == "blind"
        self.figures.seeing += name == "seeing"
        self._told = self._told or name == "blind"

    def sample(self) -> None:
        """Note the process's memory and processor time (Linux)."""
        status = Path(f"/proc/{self.process.pid}/status")
        if status.exists():
            text = status.read_text(encoding="utf-8")
            resident = [line for line in text.splitlines() if line.startswith("VmRSS")]
            self.figures.memory_kib += [int(line.split()[1]) for line in resident]
            times = Path(f"/proc/{self.process.pid}/stat").read_text(encoding="utf-8").split()
            self.figures.cpu_s = (int(times[13]) + int(times[14])) / 100.0

    def end(self) -> None:
        """Stop it as Ctrl-C does, and verify its recording."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        try:
            self.process.wait(timeout=15)
        except subprocess.TimeoutExpired:
            self.process.kill()
        self._reader.join()
        assert self.process.stdout is not None
        self.process.stdout.close()
        self.take()
        self._errors.close()
        errors = Path(self._errors.name).read_text(encoding="utf-8")
        self.figures.exit_code = self.process.returncode
        self.figures.traceback = "Traceback" in errors
        recordings = sorted(self._folder.glob("*.csv"))
        code = "import sys; from warmwatch.commands.main import main; main()"
        verify = [sys.executable, "-c", code, "verify", *map(str, recordings)]
        ran = subprocess.run(verify, capture_output=True, cwd=ROOT, check=False)
        self.figures.verified = ran.returncode


def soak(
    seconds: float,
    pace: float,
    seed: int,
    folder: Path,
    calm_s: tuple[float, float] = CALM_S,
) -> list[Figures]:
    """Run all rigs for `seconds` of real time and return their figures.

    Faults last FAULT_S, and `calm_s` (from, to, in seconds) lie between them.
    """
    asked: list[Rig] = [TextRig(folder, pace), FramesRig(folder)]
    peers: list[Rig] = [EthernetRig(folder), TwoSendersRig(folder)]
    rigs = [*asked, PrinterRig(folder, pace), TalkRig(folder), *peers]
    slope = 80.0 / 600.0 * pace
    watchers = [Watcher(rig, folder, slope) for rig in rigs]
    rng = random.Random(seed)
    faulty: dict[str, bool] = {rig.name: False for rig in rigs}
    turn_s = {rig.name: time.monotonic() + 4.0 for rig in rigs}
    end_s, sample_s = time.monotonic() + seconds, 0.0
    while (now_s := time.monotonic()) < end_s:
        for watcher in watchers:
            rig = watcher.rig
            # On a busy machine a watch may not have begun yet.
            if now_s >= turn_s[rig.name] and watcher.figures.good:
                _turn(watcher, rng, faulty)
                turn_s[rig.name] = now_s + rng.uniform(*(FAULT_S if faulty[rig.name] else calm_s))
            rig.tick(rng)
            watcher.take()
            if now_s >= sample_s:
                watcher.sample()
        sample_s = now_s + 1.0 if now_s >= sample_s else sample_s
        time.sleep(0.05)
    for watcher in watchers:
        watcher.end()
        watcher.rig.close()
    return [watcher.figures for watcher in watchers]


def _turn(watcher: Watcher, rng: random.Random, faulty: dict[str, bool]) -> None:
    rig = watcher.rig
    if faulty[rig.name]:
        rig.heal()
    else:
        name, faults = rig.fault(rng), watcher.figures.faults
        faults[name] = faults.get(name, 0) + 1
    faulty[rig.name] = not faulty[rig.name]


def main() -> int:
    """Run the soak and print its figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=60.0, help="of the vehicle's time")
    parser.add_argument("--pace", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        seconds = options.minutes * 60.0 / options.pace
        all_figures = soak(seconds, options.pace, options.seed, Path(folder))
    wrong = 0
    for figures in all_figures:
        content = asdict(figures) | {"memory_growth": round(figures.memory_growth, 4)}
        content["memory_kib"] = figures.memory_kib[-1:]
        content["not_well"] = figures.faulty(growth=0.05)
        wrong += len(figures.faulty(growth=0.05))
        print(json.dumps(content))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
