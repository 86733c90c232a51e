"""Comparing thousands of recordings: `python -m tests.benchmarks.compare [N ...]`.

Makes N invented recordings of 30 min at 1 Hz (1 000 if no N is given), compares them in a process
of its own with an empty cache (cold) and again (warm), and prints seconds, the processor time of
all processes for each recording, which says whether the cost is linear, and the peak memory of the
processes together: what they share is counted once (PSS of Linux, looked up ten times a second).
With several N the recordings are made as they are needed.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from tests.compare.made import START_UTC_S, Warm, warm_items
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.recording.names import sidecar_path, sidecar_text, text_digest
from warmwatch.recording.rows import HEADER, Chain, item_cells, utc_text
from warmwatch.recording.sidecar import sidecar_document

METHODS = {"idle": 1.9, "drive": 3.0, "fast-idle": 2.3, "hill": 3.6}
SECONDS = 1800

CHILD = "import sys; from warmwatch.commands.main import run; sys.exit(run(sys.argv[1:]))"
LOOK_S = 0.1


def main() -> None:
    """Make the recordings, measure and print."""
    counts = sorted(int(text) for text in sys.argv[1:]) or [1000]
    print(f"{os.cpu_count()} processors; 30 min at 1 Hz each; times include starting the program")
    print("recordings  cold s  warm s  cold CPU ms each  warm CPU ms each  cold MB  warm MB")
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        made = 0
        for count in counts:
            for number in range(made, count):
                make(root / "r", number)
            made = count
            print(measured(root, count), flush=True)


def make(folder: Path, number: int) -> None:
    """Write one invented recording, without the synchronising that a live one needs."""
    method = list(METHODS)[number % len(METHODS)]
    rate = METHODS[method] * (1.0 + 0.001 * (number % 37)) + 1e-5 * number  # no two are the same
    warm = Warm(rate, 0.02, 40.0, 15.0 + number % 13)
    utc_s = START_UTC_S + 4000.0 * number
    job = Job(Band(80.0, 90.0), vehicle=f"invented {number % 7}", method=method)
    path = folder / f"{number:05}_{method}.csv"
    folder.mkdir(exist_ok=True)
    document = sidecar_document(job, "made:", {"invented": "Invented to measure speed."})
    text = sidecar_text({**document, "url": path.name})
    sidecar_path(path).write_text(text, encoding="utf-8", newline="")
    chain, lines = Chain(), [HEADER]
    opened = {"elapsed_s": "0.0", "kind": "opened", "text": f"sidecar={text_digest(text)}"}
    lines.append(chain.seal({**opened, "time": utc_text(utc_s)}))
    items = warm_items(warm, SECONDS, noise_c=0.05, digits=2, seed=number)
    lines += [chain.seal(item_cells(item)) for item in items]
    lines.append(chain.seal({"elapsed_s": repr(float(SECONDS)), "kind": "closed"}))
    path.write_text("\r\n".join([*lines, ""]), encoding="utf-8", newline="")


def measured(root: Path, count: int) -> str:
    """Return one line of the table."""
    cache = root / f"cache-{count}.sqlite"
    cold, warm = child(root, cache), child(root, cache)
    return (
        f"{count:10}  {cold.seconds:6.1f}  {warm.seconds:6.2f}  {1000 * cold.cpu_s / count:16.1f}"
        f"  {1000 * warm.cpu_s / count:16.2f}  {cold.tree_mb:7.0f}  {warm.tree_mb:7.0f}"
    )


@dataclass(frozen=True)
class Cost:
    """What one comparison cost, all its processes together, whatever else the machine did."""

    seconds: float
    cpu_s: float
    tree_mb: float


def child(root: Path, cache: Path) -> Cost:
    """Compare in a process of its own and return what it cost."""
    begun, before_s, peak_kib = time.perf_counter(), children_cpu_s(), 0
    process = subprocess.Popen(
        [sys.executable, "-c", CHILD, "compare", str(root / "r"), "--csv", str(root / "out.csv")],
        env={**os.environ, "WARMWATCH_CACHE": str(cache)}, stdout=subprocess.DEVNULL,
    )  # fmt: skip
    while process.poll() is None:
        peak_kib = max(peak_kib, tree_kib(process.pid))
        time.sleep(LOOK_S)
    assert process.returncode == 0
    seconds = time.perf_counter() - begun
    return Cost(seconds, children_cpu_s() - before_s, peak_kib / 1e3)


def children_cpu_s() -> float:
    """Return the processor time of all processes that have ended, and of theirs."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def tree_kib(pid: int) -> int:
    """Return the memory of a process and of all below it; 0 for what has ended."""
    try:
        told = Path(f"/proc/{pid}/smaps_rollup").read_text()
        below = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except OSError:
        return 0
    own = next(int(line.split()[1]) for line in told.splitlines() if line.startswith("Pss:"))
    return own + sum(tree_kib(int(child)) for child in below)


if __name__ == "__main__":
    main()
