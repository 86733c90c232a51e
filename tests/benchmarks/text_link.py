"""How fast `serial:` is against its adapter: `python -m tests.benchmarks.text_link`.

The stand-in takes a stated time for each request. Prints, for some of these times: requests a
second against the most that the adapter could take, the link's own processor time for a poll, and
the delay from the answer's last byte on the wire to the reading (median and 99th percentile; both
ends read the same monotonic clock).
"""

import statistics
import tempfile
import time
from pathlib import Path

from tests.soak.rigs import SIGNAL
from tests.standins.process import StandIn
from warmwatch.core.reading import Reading
from warmwatch.links.address import parse_address
from warmwatch.links.base import open_link

POLLS = 60


def main() -> None:
    """Measure and print."""
    print("adapter ms/request  requests/s (most)   polls/s  CPU ms/poll  delay ms median, p99")
    for slow_s in (0.0, 0.02, 0.05, 0.1, 0.2):
        print(measured(slow_s))


def measured(slow_s: float) -> str:
    """Run POLLS polls against an adapter that takes `slow_s` for a request."""
    with tempfile.TemporaryDirectory() as folder:
        signals, log = Path(folder) / "signals.toml", Path(folder) / "log"
        signals.write_text(SIGNAL, encoding="utf-8")
        options = ("--pty", "--slow", str(slow_s), "--times", str(log))
        with StandIn("text_adapter.py", *options) as adapter:
            arrived, cpu_s = polled(f"serial:{adapter.address}?signals={signals}")
        sent = [line.split() for line in log.read_text(encoding="utf-8").splitlines()]
    first_s, last_s = arrived[0], arrived[-1]
    requests = [float(at) for at, command in sent if command[:2] != "AT"]
    rate = sum(first_s < at_s <= last_s for at_s in requests) / (last_s - first_s)
    most = f"({1 / slow_s:.0f})" if slow_s else "(-)"
    polls = (len(arrived) - 1) / (last_s - first_s)
    delays = sorted((at_s - max(r for r in requests if r <= at_s)) * 1000 for at_s in arrived)
    p99 = delays[int(0.99 * (len(delays) - 1))]
    return (
        f"{slow_s * 1000:18.0f}  {rate:10.1f} {most:>7}  {polls:8.2f}  "
        f"{cpu_s * 1000 / len(arrived):11.2f}  {statistics.median(delays):8.2f}, {p99:.2f}"
    )


def polled(address: str) -> tuple[list[float], float]:
    """Return when each reading arrived, and the processor seconds that they took."""
    link, arrived, began_s = open_link(parse_address(address)), [], time.process_time()
    try:
        for item in link.items():
            if isinstance(item, Reading):
                arrived.append(time.monotonic())
            if len(arrived) >= POLLS:
                break
        return arrived, time.process_time() - began_s
    finally:
        link.close()


if __name__ == "__main__":
    main()
