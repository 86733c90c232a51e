"""How fast the links are against their far ends: `python -m tests.benchmarks.links`.

Three stand-ins, each in a process of its own behind a pseudo-terminal: a text adapter, and a CAN
adapter with a vehicle that answers or that talks by itself. Each takes a stated time for a request,
its limit. Prints, for some of these times: requests a second against the most that the far end
could take, the processor time of link and watch for a reading, and the delay from the last byte of
the answers on the wire to the watch's event (median and 99th percentile; both ends read the same
monotonic clock).
"""

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.links.can_runs import FLUID_FILE
from tests.soak.rigs import SIGNAL
from tests.standins.process import StandIn
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Reading
from warmwatch.core.watch import Watch
from warmwatch.links.address import parse_address
from warmwatch.links.base import open_link

POLLS = 100


def main() -> None:
    """Measure and print."""
    print("link        far end ms   requests/s (most)  readings/s  CPU ms/reading  delay ms (99 %)")
    for slow_s in (0.0, 0.02, 0.05, 0.1, 0.2):
        print(f"serial:     {text_adapter(slow_s)}", flush=True)
    for slow_s in (0.0, 0.02, 0.05, 0.1):
        print(f"can:        {can_adapter(slow_s)}", flush=True)
    print(f"broadcast:  {broadcast(0.2)}")


def text_adapter(slow_s: float) -> str:
    """Ask an adapter that takes `slow_s` for a request."""
    with tempfile.TemporaryDirectory() as folder:
        signals, log = Path(folder) / "signals.toml", Path(folder) / "log"
        signals.write_text(SIGNAL, encoding="utf-8")
        options = ("--pty", "--slow", str(slow_s), "--times", str(log))
        with StandIn("text_adapter.py", *options) as adapter:
            found = polled(f"serial:{adapter.address}?signals={signals}")
        sent = [line.split() for line in log.read_text(encoding="utf-8").splitlines()]
    return row(slow_s, found, [float(at) for at, command in sent if command[:2] != "AT"])


def can_adapter(slow_s: float) -> str:
    """Ask a vehicle that takes `slow_s` for a request, with no pause between polls."""
    with far_end("853", slow_s) as (port, folder):
        signals = folder / "signals.toml"
        signals.write_text(FLUID_FILE, encoding="utf-8")
        found = polled(f"can:{port}?interface=slcan&signals={signals}&poll=0.001")
        return row(slow_s, found, times(folder))


def broadcast(every_s: float) -> str:
    """Listen to a bus that carries the fluid every `every_s`."""
    with far_end("talk", every_s) as (port, folder):
        found = polled(f"broadcast:{port}?interface=slcan&poll=0.001")
        return row(every_s, found, times(folder))


@contextmanager
def far_end(counts: str, delay_s: float) -> Iterator[tuple[Path, Path]]:
    """Run a CAN adapter; give its port and the folder that it lies in."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        port = folder / "port"
        options = [str(port), counts, str(delay_s), str(folder / "times")]
        process = subprocess.Popen(
            [sys.executable, "-m", "tests.vehicle.far_end", *options], stdout=subprocess.PIPE
        )
        try:
            assert process.stdout is not None
            process.stdout.readline()
            yield port, folder
        finally:
            process.kill()
            process.communicate()


def times(folder: Path) -> list[float]:
    """Return when each frame was sent."""
    return [float(line) for line in (folder / "times").read_text(encoding="utf-8").split()]


@dataclass(frozen=True, slots=True)
class Polled:
    """When the watch was done with each reading (monotonic seconds), and the processor's share."""

    done_s: list[float]
    cpu_s: float


def polled(address: str) -> Polled:
    """Take POLLS readings through the watch, as `watch` does."""
    link, watch = open_link(parse_address(address)), Watch(Job(Band(80.0, 90.0)))
    done: list[float] = []
    began_s = time.process_time()
    try:
        for item in link.items():
            if isinstance(item, Reading):
                watch.step(item)
                done.append(time.monotonic())
            if len(done) >= POLLS:
                break
        return Polled(done, time.process_time() - began_s)
    finally:
        link.close()


def row(slow_s: float, found: Polled, sent: list[float]) -> str:
    """Return the figures of one run; `sent` is when each answer was on the wire."""
    done = found.done_s
    lasted_s = done[-1] - done[0]
    rate = sum(done[0] < at_s <= done[-1] for at_s in sent) / lasted_s
    most = f"({1 / slow_s:.0f})" if slow_s else "(-)"
    delays = sorted((at_s - max(t for t in sent if t <= at_s)) * 1000 for at_s in done)
    p99 = delays[round(0.99 * (len(delays) - 1))]
    return (
        f"{slow_s * 1000:10.0f}  {rate:11.1f} {most:>7}  {(len(done) - 1) / lasted_s:9.1f}  "
        f"{found.cpu_s * 1000 / len(done):14.2f}  {statistics.median(delays):9.2f} ({p99:.2f})"
    )


if __name__ == "__main__":
    main()
