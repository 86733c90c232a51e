"""Runs an output on a thread of its own: a reader who pauses (Ctrl-S, a slow pipe) stops nobody.

Up to FULL entries wait for the reader; a replay then waits, too (see Session). A vehicle does not
wait: beyond MOST readings and forecasts are left out, counted and told; events and marks are kept
twice as long.
"""

import threading
from collections import deque

from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Reading
from warmwatch.outputs.base import Entry, Missed, Output, Summary
from warmwatch.outputs.guard import Guarded
from warmwatch.words.view import View

FULL = 1000
MOST = 2000
LAST_S = 2.0
"""When the watch was asked to end, the reader has so long for what is left."""
ASKED_TO_END = ("interrupt", "key", "page")
UNREAD = (
    "The output is not being read: some of its lines are left out. The watch, its signals and the "
    "recording go on."
)


class OwnThread:
    """Passes everything on to a guarded output, on a thread that the first entry starts."""

    def __init__(self, output: Guarded) -> None:
        self._output = output
        self._queue: deque[Entry] = deque()
        self._view: View | None = None
        self._summary: Summary | None = None
        self._missed = 0
        self._leaving_out = False
        self._told: deque[Notice] = deque()
        self._wake = threading.Event()
        self._done = threading.Event()
        self._thread: threading.Thread | None = None

    @property
    def output(self) -> Output | None:
        """The output while it works."""
        return self._output.output

    @property
    def failed(self) -> bool:
        """Whether the output failed, or did not take all before the end."""
        return self._output.failed or (self._summary is not None and not self._done.is_set())

    @property
    def full(self) -> bool:
        """Whether so much waits for the reader that a replay should wait, too."""
        return len(self._queue) >= FULL and not self._done.is_set()

    def notices(self) -> list[Notice]:
        """Return the notices for all outputs, each once."""
        return [self._told.popleft() for _ in range(len(self._told))]

    @property
    def ended(self) -> bool:
        """Whether the watch has ended: what is said now comes too late for this output."""
        return self._summary is not None

    def say(self, text: str) -> None:
        """Put a sentence among the entries; for any thread."""
        self.take(Notice(text))

    def take(self, entry: Entry) -> None:
        waiting = len(self._queue)
        if self._leaving_out and waiting < FULL:
            self._leaving_out = False
            self._count_missed()
        often = isinstance(entry, Reading | Forecast)
        if waiting >= 2 * MOST or (often and (self._leaving_out or waiting >= MOST)):
            self._leave_out()
            return
        self._queue.append(entry)
        self._start()

    def _leave_out(self) -> None:
        if not self._leaving_out:
            self._leaving_out = True
            self._told.append(Notice(UNREAD, alarm=True))
        self._missed += 1

    def _count_missed(self) -> None:
        count, self._missed = self._missed, 0
        if count:
            lines = "1 line" if count == 1 else f"{count} lines"
            text = f"{lines} left out here: the output was not read."
            self._queue.append(Missed(text, count=count))

    def show(self, view: View) -> None:
        self._view = view
        self._start()

    def close(self, summary: Summary) -> None:
        self._count_missed()
        self._summary = summary
        self._start()
        if summary.stopped_by in ASKED_TO_END:
            self._done.wait(LAST_S)
            return
        while not self._done.wait(LAST_S):  # Ctrl-C ends it
            pass

    def _start(self) -> None:
        self._wake.set()
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="output", daemon=True)
            self._thread.start()

    # Everything below runs on the output's own thread.

    def _run(self) -> None:
        try:
            while not self._pass_on():
                pass
        finally:  # whatever happens, nobody waits for this thread
            self._done.set()

    def _pass_on(self) -> bool:
        """Wait for what comes and pass it on; return whether that was the end."""
        self._wake.wait()
        self._wake.clear()
        summary = self._summary  # looked at first: entries that came before it come before it
        while self._queue:
            self._output.take(self._queue.popleft())
        view, self._view = self._view, None
        if view is not None:
            self._output.show(view)
        if summary is not None:
            self._output.close(summary)
        return summary is not None
