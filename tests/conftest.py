"""Shared by all tests: no thread may be left running, and hypothesis has no deadline."""

import os
import signal
import sys
import threading
import time
from collections import defaultdict
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

# Hundreds of tests start the program. Where Python was told to keep no bytecode, each of those
# starts would compile the whole program anew.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# A shell lets what it starts in the background ignore Ctrl-C, and so would all programs under test.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

settings.register_profile(
    "house", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("house")

QUICK_S = 3.0
"""What takes longer belongs to the slow tests (a loaded machine included)."""

_OURS = ("link", "keyboard", "page", "screen", "tones")


@pytest.fixture(autouse=True)
def no_thread_left() -> Iterator[None]:
    """Fail a test that leaves one of our threads running."""
    yield
    deadline = time.monotonic() + 3.0
    while left := [t.name for t in threading.enumerate() if t.name in _OURS]:
        assert time.monotonic() < deadline, f"threads left running: {left}"
        time.sleep(0.02)


@pytest.fixture(autouse=True, scope="session")
def no_book_of_the_developer(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep the book of whoever runs the tests out of them, also out of child processes."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WARMWATCH_HOME", str(tmp_path_factory.mktemp("home")))
        yield


def pytest_xdist_auto_num_workers() -> int:
    """Two workers more than processors: many tests wait for a vehicle or a process."""
    return 2 + (os.cpu_count() or 1)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Name the tests that take long and do not bear the mark `slow`, longest first."""
    passed: list[pytest.TestReport] = terminalreporter.getreports("passed")
    unmarked = [report for report in passed if "slow" not in report.keywords]
    took_s: dict[str, float] = defaultdict(float)
    for report in unmarked:
        took_s[report.nodeid] += report.duration
    longest = sorted(took_s, key=lambda nodeid: -took_s[nodeid])[:10]
    if long := [f"{took_s[name]:6.1f} s  {name}" for name in longest if took_s[name] > QUICK_S]:
        terminalreporter.section(f"over {QUICK_S:g} s, and not marked slow")
        terminalreporter.write_line("\n".join(long))
