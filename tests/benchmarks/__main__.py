"""Speed and memory as ratios, measured in one run: `python -m tests.benchmarks`.

Prints, for the same invented file of 8 h at 10 Hz (288 000 rows):
- the fold, against a bare csv.DictReader loop;
- the whole process replaying it without recording: seconds and peak memory, at two lengths;
- `warmwatch --help` against `python -c "import click"`.
"""

import csv
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Reading
from warmwatch.core.watch import Watch

HERTZ = 10
HOURS = 8
STARTS = 15


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        full, short = Path(folder) / "full.csv", Path(folder) / "short.csv"
        write_invented(full, HOURS * 3600 * HERTZ)
        write_invented(short, HOURS * 3600 * HERTZ // 8)
        # The replays come first: a child's peak memory counts what its parent held at the fork.
        report_replay(short, full)
        report_fold(full)
    report_start()


def write_invented(path: Path, rows: int) -> None:
    """Write an invented log: up and down between 20 and 100 degC, whole degrees."""
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write("t,temp,rpm,speed\n")
        for at in range(rows):
            phase = at / HERTZ % 7200 / 3600
            fluid_c = int(20 + 80 * (phase if phase < 1 else 2 - phase))
            file.write(f"{at / HERTZ},{fluid_c},780,0\n")


def readings(path: Path) -> Iterator[Reading]:
    """Yield the file's rows as readings."""
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            values = {
                "fluid_c": float(row["temp"]),
                "engine_rpm": float(row["rpm"]),
                "speed_kmh": float(row["speed"]),
            }
            yield Reading(float(row["t"]), values)


def report_fold(path: Path) -> None:
    """Print the fold's cost."""
    items = list(readings(path))
    watch = Watch(Job(Band(80.0, 90.0), poll_s=1 / HERTZ))
    fold_s = timed(lambda: [watch.step(item) for item in items])
    bare_s = timed(lambda: read_bare(path))
    each_us = fold_s / len(items) * 1e6
    print(f"fold:     {each_us:5.1f} us a reading, {fold_s / bare_s:.2f} x a bare DictReader loop")


def read_bare(path: Path) -> None:
    """Read the file and do nothing with it."""
    with path.open(encoding="utf-8", newline="") as file:
        for _ in csv.DictReader(file):
            pass


def report_replay(short: Path, full: Path) -> None:
    """Print the whole process's time and peak memory at two lengths."""
    (short_s, short_mb), (full_s, full_mb) = replay(short), replay(full)
    print(f"replay:   {full_s:5.1f} s and {full_mb:.0f} MB for 8 h at 10 Hz, not recorded")
    print(
        f"          8 x the rows: {full_s / short_s:.1f} x time, {full_mb / short_mb:.2f} x memory"
    )


def replay(path: Path) -> tuple[float, float]:
    """Return seconds and peak MB of `warmwatch watch` on the file."""
    names = ("elapsed_s=t", "fluid_c=temp", "engine_rpm=rpm", "speed_kmh=speed")
    columns = [part for name in names for part in ("--column", name)]
    command = [sys.executable, "-m", "warmwatch", "watch", str(path), *columns]
    command += ["--band", "80:90", "--no-record", "--quiet"]
    start_s = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0
    return time.perf_counter() - start_s, usage.ru_maxrss / 1024


def report_start() -> None:
    """Print the start-up of help as a ratio; runs alternate so that load hits both alike."""
    help_s, click_s = [], []
    for _ in range(STARTS):
        help_s.append(timed(lambda: start("-m", "warmwatch", "--help")))
        click_s.append(timed(lambda: start("-c", "import click")))
    ratio = statistics.median(help_s) / statistics.median(click_s)
    print(f"start-up: `warmwatch --help` takes {ratio:.2f} x `python -c 'import click'`")


def start(*arguments: str) -> None:
    """Run Python to its end."""
    subprocess.run([sys.executable, *arguments], stdout=subprocess.DEVNULL, check=True)


def timed(act: Callable[[], object]) -> float:
    """Return the seconds that `act` takes."""
    start_s = time.perf_counter()
    act()
    return time.perf_counter() - start_s


if __name__ == "__main__":
    main()
