"""Screen and page, measured in one run: `python -m tests.benchmarks.page` (about three minutes).

Prints
- the delay from a line on the watch's input to the paint of its figure in Chromium, with one page
  and with 20 (the browser and 19 that only read), against a frame of 1/60 s;
- the processor time of `watch` at 10 readings a second with screen and page, as a ratio to
  `watch --json`;
- the start: until the page's link is printed, and until the first JSON line, as a ratio to
  `python -c "import click"`.
All input is invented. Everything runs on loopback.
"""

import os
import pty
import random
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlsplit

from tests.outputs.page.browser import chromium, opened, script

WATCH = (sys.executable, "-m", "warmwatch", "watch", "lines:-", "--band", "80:90")
QUIET = ("--quiet", "--no-record")
READINGS = 150
SHORT_S, LONG_S = 4.0, 24.0
STARTS = 7


def main() -> None:
    """Measure and print."""
    for others in (0, 19):
        report_delay(others)
    report_processor_time()
    report_start()


def report_delay(others: int) -> None:
    """Print median and 99th percentile of the delay from input to paint, in ms."""
    delays = [delay * 1000 for delay in paint_delays(others)]
    median = statistics.median(delays)
    worst = statistics.quantiles(delays, n=100)[98]
    frame_ms = 1000 / 60
    print(
        f"input to paint, {others + 1:2} pages: median {median:.0f} ms "
        f"({median / frame_ms:.1f} frames), 99th percentile {worst:.0f} ms, n={len(delays)}"
    )


def paint_delays(others: int) -> list[float]:
    """Return the delay of each reading, in seconds."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        process, link = stack.enter_context(watching(folder))
        for _ in range(others):
            stack.enter_context(reader(link))
        page = opened(stack.enter_context(chromium()), link)
        page.evaluate(script("watch_paint"), "#degrees")
        sent: dict[str, float] = {}
        assert process.stdin is not None
        for at in range(READINGS):
            text = f"{60.0 + at / 10:.1f}"
            sent[text] = time.time()
            process.stdin.write(text + "\n")
            process.stdin.flush()
            page.wait_for_timeout(random.uniform(150, 350))
        painted: dict[str, float] = dict(page.evaluate("window.painted"))
        return [painted[text] - at_s for text, at_s in sent.items() if text in painted][5:]


@contextmanager
def watching(folder: Path) -> Iterator[tuple["subprocess.Popen[str]", str]]:
    """Run a watch with a page on lines from us; yield it and its link."""
    process = subprocess.Popen(
        [*WATCH, *QUIET, "--page"], cwd=folder, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        text=True, bufsize=1,
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdin is not None
    try:
        found = re.search(r"http://\S+", process.stdout.readline())
        assert found is not None
        threading.Thread(target=process.stdout.read, daemon=True).start()
        yield process, found[0]
    finally:
        process.stdin.close()
        process.wait(timeout=20)


@contextmanager
def reader(link: str) -> Iterator[None]:
    """Read the event stream like a page that draws nothing."""
    parts = urlsplit(link)
    first = HTTPConnection(parts.netloc)
    first.request("GET", parts.path)
    given = first.getresponse().headers.get_all("Set-Cookie") or [""]
    cookie = given[-1].split(";")[0]  # without the browser's own: each of these is a phone
    first.close()
    stream = HTTPConnection(parts.netloc)
    stream.request("GET", "/events", headers={"Cookie": cookie})
    response = stream.getresponse()

    def read() -> None:
        try:
            while response.read1(65536):
                pass
        except (OSError, ValueError, AttributeError):
            return

    threading.Thread(target=read, daemon=True).start()
    try:
        yield
    finally:
        if stream.sock is not None:
            stream.sock.close()


def report_processor_time() -> None:
    """Print the processor time of a second of watching, with screen and page, and with JSON."""
    with tempfile.TemporaryDirectory() as folder:
        plain = steady(lambda seconds: json_run(Path(folder), seconds))
        full = steady(lambda seconds: screen_run(Path(folder), seconds))
    print(
        f"processor time at 10 readings/s: --json {plain * 1000:.1f} ms/s, screen and page "
        f"{full * 1000:.1f} ms/s, ratio {full / plain:.1f}"
    )


def steady(run: Callable[[float], float]) -> float:
    """Return processor seconds for a second of watching, the start taken off."""
    return (run(LONG_S) - run(SHORT_S)) / (LONG_S - SHORT_S)


def json_run(folder: Path, seconds: float) -> float:
    """Watch with `--json` for `seconds`; return the processor time used."""
    process = subprocess.Popen(
        [*WATCH, *QUIET, "--json"], cwd=folder, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL,
        text=True, bufsize=1,
    )  # fmt: skip
    return feed(process, seconds)


def screen_run(folder: Path, seconds: float) -> float:
    """Watch with a screen of 120×40 and a page that one client reads; return the same."""
    leader, follower = pty.openpty()
    environment = {**os.environ, "TERM": "xterm-256color", "COLUMNS": "120", "LINES": "40"}
    process = subprocess.Popen(
        [*WATCH, *QUIET, "--page"], cwd=folder, stdin=subprocess.PIPE, stdout=follower,
        text=True, bufsize=1, env=environment,
    )  # fmt: skip
    os.close(follower)
    seen = b""
    while (found := re.search(rb"(http://\S+)\s", seen)) is None:
        seen += os.read(leader, 65536)
    threading.Thread(target=drain, args=(leader,), daemon=True).start()
    with reader(found[1].decode()):
        return feed(process, seconds)


def drain(leader: int) -> None:
    """Take what the terminal gets, until it is closed."""
    try:
        while os.read(leader, 65536):
            pass
    except OSError:
        os.close(leader)


def feed(process: "subprocess.Popen[str]", seconds: float) -> float:
    """Give ten readings a second, end the input, and return the processor time used."""
    assert process.stdin is not None
    for at in range(int(seconds * 10)):
        process.stdin.write(f"{60.0 + at / 100:.2f}\n")
        time.sleep(0.1)
    process.stdin.close()
    _, _, usage = os.wait4(process.pid, 0)
    process.returncode = 0
    return usage.ru_utime + usage.ru_stime


def report_start() -> None:
    """Print how long it takes until there is something to see."""
    click = until_output([sys.executable, "-c", "import click; print(1, flush=True)"])
    json_line = until_output([*WATCH, *QUIET, "--json"])
    link = until_output([*WATCH, *QUIET, "--page"])
    print(
        f"start, against importing click ({click * 1000:.0f} ms): first JSON line "
        f"{json_line / click:.1f}, the page's link {link / click:.1f}"
    )


def until_output(command: list[str]) -> float:
    """Return the median time until a command's first line, in seconds."""
    times = []
    for _ in range(STARTS):
        started = time.perf_counter()
        process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write("60.0\n")
        process.stdin.flush()
        process.stdout.readline()
        times.append(time.perf_counter() - started)
        process.communicate(timeout=20)
    return statistics.median(times)


if __name__ == "__main__":
    main()
