"""The clocks that stamp readings."""

import time
from typing import Protocol


class Clock(Protocol):
    """Elapsed seconds that never run back, and wall time."""

    def elapsed_s(self) -> float:
        """Seconds since the clock was made."""

    def utc_s(self) -> float:
        """Wall time in seconds since 1970."""

    def wait(self, seconds: float) -> None:
        """Let `seconds` of this clock's time go by."""


def _monotonic() -> float:
    # CLOCK_BOOTTIME goes on while a laptop sleeps: the sleep then shows as silence, which it was.
    boottime = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boottime is None else time.clock_gettime(boottime)


class SystemClock:
    """Real time, from the monotonic clock."""

    def __init__(self) -> None:
        self._start_s = _monotonic()

    def elapsed_s(self) -> float:
        return _monotonic() - self._start_s

    def utc_s(self) -> float:
        return time.time()

    def wait(self, seconds: float) -> None:
        time.sleep(max(0.0, seconds))
