"""What a busy bus costs: `python -m tests.benchmarks.bus`.

A J1939 bus of 2000 frames a second (one in 200 with the fluid) behind a pseudo-terminal, in a
process of its own. Prints the processor time of `broadcast:` and its watch for a frame, its share
of a core, and the same for a bare loop over python-can's `recv`, in one run.
"""

import time
from collections.abc import Callable

from tests.peers.process import peer
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Reading
from warmwatch.core.watch import Watch
from warmwatch.links.address import parse_address
from warmwatch.links.base import open_link
from warmwatch.links.python_can import can

RATE, SECONDS = 2000, 8.0


def main() -> None:
    """Measure and print."""
    print(f"{RATE} frames a second on slcan   share of a core   ms a frame")
    shares = []
    for name, run in (("bare python-can recv", bare), ("broadcast: and watch", watched)):
        with peer("flood", str(RATE)) as port:
            shares.append(run(port))
        print(f"{name:31} {shares[-1]:13.2f} {1000 * shares[-1] / RATE:14.3f}", flush=True)
    print(f"broadcast: against bare: {shares[1] / shares[0]:.2f}")


def share(step: Callable[[], object]) -> float:
    """Return the processor's share while `step` is called for SECONDS, after a first call."""
    step()
    began_s, cpu_s = time.monotonic(), time.process_time()
    while time.monotonic() - began_s < SECONDS:
        step()
    return (time.process_time() - cpu_s) / (time.monotonic() - began_s)


def bare(port: str) -> float:
    """Take the frames and do nothing with them."""
    with can.Bus(interface="slcan", channel=port) as bus:
        return share(lambda: bus.recv(1.0))


def watched(port: str) -> float:
    """Listen and watch."""
    link = open_link(parse_address(f"broadcast:{port}?interface=slcan"))
    watch = Watch(Job(Band(80.0, 90.0)))
    items = link.items()

    def step() -> None:
        item = next(items)
        if isinstance(item, Reading):
            watch.step(item)

    try:
        return share(step)
    finally:
        link.close()


if __name__ == "__main__":
    main()
