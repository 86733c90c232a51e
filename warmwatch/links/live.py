"""A live link: one thread, one bounded wait and one queue around a port that may go away.

A lost port is closed and never used again; a new one is opened after a back-off, for as long as
the watch runs. Whatever the port raises becomes a notice in plain words, so the thread cannot die
silently.
"""

import queue
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Protocol

from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName, Reading, Tick
from warmwatch.errors import LinkError, LinkRefused
from warmwatch.links.base import WAIT_S, LinkItem
from warmwatch.links.clock import Clock

STEP_S = 1e-6
"""The least between two stamps: a coarse clock (1/64 s is common) gives many the same time."""
STOOD_STILL_S = 3.0
"""After so long between two polls (stopped, asleep) what has piled up is old, and no reading."""
BACKOFF_S = (0.3, 0.6, 1.0)
_QUEUE_LENGTH = 1000


@dataclass(frozen=True, slots=True)
class Values:
    """What one poll brought, not yet stamped."""

    values: Mapping[str, float]
    doubts: Mapping[str, str] = field(default_factory=dict)
    raw: str = ""


@dataclass(frozen=True, slots=True)
class MarkLine:
    """A mark that came in through the port, not yet stamped."""

    name: MarkName
    note: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """What comes from here on does not go on from what came before, and why; not yet stamped."""

    text: str


Polled = Values | MarkLine | Notice | Gap
_Stamped = Reading | Mark | Notice | Tick


class Port(Protocol):
    """One opened port. It is used by one thread only, and never again after a loss."""

    def poll(self) -> list[Polled]:
        """Wait at most about WAIT_S and return what came (nothing is fine).

        Raises LinkLost when the far end is gone and EOFError at the end of the input.
        """

    def close(self) -> None:
        """Free the port; must not raise and must not hang."""


class LiveLink:
    """Runs `open_port` and its polls on a thread of its own; `items` starts it."""

    replay = False

    def __init__(
        self,
        open_port: Callable[[], Port],
        clock: Clock,
        about: Mapping[str, object],
        poll_s: float | None = None,
    ) -> None:
        self.poll_s = poll_s
        self._open_port = open_port
        self._clock = clock
        self._about = about
        self._queue: queue.Queue[_Stamped | Exception] = queue.Queue(_QUEUE_LENGTH)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._failures = 0
        self._told_lost = ""
        self._stamp_s = -STEP_S

    def describe(self) -> Mapping[str, object]:
        return self._about

    def elapsed_s(self) -> float:
        return max(self._clock.elapsed_s(), self._stamp_s)

    def items(self) -> Iterator[LinkItem]:
        if self._thread is None:  # iterated again, it goes on where it was left
            self._thread = threading.Thread(target=self._run, name="link", daemon=True)
            self._thread.start()
        while not self._stop.is_set():
            try:
                item = self._queue.get(timeout=WAIT_S)
            except queue.Empty:
                yield None
                continue
            if isinstance(item, EOFError):
                return
            if isinstance(item, Exception):
                raise item
            yield item

    def close(self) -> None:
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=2.0)

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self._poll_one_port()
            except (LinkRefused, EOFError) as error:
                self._put(error)
                return
            except LinkError as error:
                self._tell_lost(str(error))
            except Exception as error:  # a driver may raise anything; blindness must be told
                self._tell_lost(f"The link failed: {error!r}.")
            self._stop.wait(BACKOFF_S[min(self._failures, len(BACKOFF_S) - 1)])
            self._failures += 1

    def _tell_lost(self, text: str) -> None:
        """Say why the port was given up, once until a reading comes or the reason changes."""
        if text != self._told_lost:
            self._told_lost = text
            self._put(Notice(text, lost=True))

    def _poll_one_port(self) -> None:
        port = self._open_port()
        last_s = self._clock.elapsed_s()
        try:
            while not self._stop.is_set():
                found = port.poll()
                before_s, last_s = last_s, self._clock.elapsed_s()
                for polled in _fresh(found, last_s - before_s):
                    self._put(self._stamped(polled))
        finally:
            port.close()

    def _stamped(self, polled: Polled) -> _Stamped:
        if isinstance(polled, Notice):
            return polled
        now_s = max(self._clock.elapsed_s(), round(self._stamp_s + STEP_S, 6))
        self._stamp_s, utc_s = now_s, self._clock.utc_s()
        if isinstance(polled, MarkLine):
            return Mark(now_s, polled.name, polled.note, utc_s)
        if isinstance(polled, Gap):
            return Tick(now_s, polled.text, utc_s)
        self._failures, self._told_lost = 0, ""
        return Reading(now_s, polled.values, polled.doubts, polled.raw, utc_s)

    def _put(self, item: _Stamped | Exception) -> None:
        while not self._stop.is_set():
            try:
                self._queue.put(item, timeout=WAIT_S)
            except queue.Full:
                continue
            return


def _fresh(found: list[Polled], after_s: float) -> list[Polled]:
    """Return what may be stamped as new after a poll that ended `after_s` behind the last one."""
    if after_s <= STOOD_STILL_S or not any(isinstance(item, Values) for item in found):
        return found
    text = (
        f"The program stood still for {after_s:.0f} s (stopped, or the computer slept): "
        "what waited meanwhile is old and was dropped."
    )
    return [Notice(text), *(item for item in found if not isinstance(item, Values))]
