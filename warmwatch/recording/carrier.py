"""Carries messages to the disk's side of a recording and its reports back; never waits for it.

In a process of its own a disk that hangs holds up nothing at all: the system does not end a program
of which one thread still waits for a disk. A thread is enough where no process can be had, and for
whoever writes recordings from Python.
"""

import contextlib
import json
import os
import queue
import subprocess
import sys
import threading
from collections import deque
from pathlib import Path
from typing import IO, Protocol

from warmwatch.recording.disk import DiskFile, Message, Report

_ROOT = str(Path(__file__).parents[2])
_CODE = f"""
import sys
sys.path.insert(0, {_ROOT!r})
from warmwatch.recording.carrier import child_main
child_main()
"""
_NEW_PROCESS_GROUP = 0x200  # the name in subprocess is there on Windows alone
_LEFT_BEHIND: list["subprocess.Popen[bytes]"] = []
"""Helpers whose disk did not answer when we ended: they end by themselves."""


def serve(inbox: "queue.SimpleQueue[Message]", report: Report) -> None:
    """Take messages until the last; after each batch of them say how many have been done."""
    file, done, going_on = DiskFile(report), 0, True
    while going_on:
        try:
            message = inbox.get(timeout=file.due_in_s)
        except queue.Empty:
            file.take(("sync",))
            continue
        going_on = file.take(message)
        done += 1
        if not going_on or inbox.empty():
            report(("done", done))


class Carrier(Protocol):
    """How a Recorder reaches the disk."""

    helper: int | None
    """The process that goes on when this one ends, None where none does."""
    lost: bool
    """Whether that process ended too early."""

    def send(self, message: Message) -> None:
        """Hand over a message; returns at once."""

    def reports(self) -> list[Message]:
        """Return what was reported since."""

    def wait(self, seconds: float) -> None:
        """Wait for a report, at most so long."""

    def leave(self) -> None:
        """Nothing more is sent."""


class _Reports:
    """What the disk's side reported, from one thread to another."""

    def __init__(self) -> None:
        self._found: deque[Message] = deque()
        self._some = threading.Event()

    def put(self, message: Message) -> None:
        self._found.append(message)
        self._some.set()

    def reports(self) -> list[Message]:
        self._some.clear()
        return [self._found.popleft() for _ in range(len(self._found))]

    def wait(self, seconds: float) -> None:
        self._some.wait(seconds)


class ThreadCarrier(_Reports):
    """The disk's side on a thread of this process."""

    helper: int | None = None
    lost = False

    def __init__(self) -> None:
        super().__init__()
        self._inbox: queue.SimpleQueue[Message] = queue.SimpleQueue()
        self._thread = threading.Thread(
            target=serve, args=(self._inbox, self.put), name="disk", daemon=True
        )
        self._thread.start()

    def send(self, message: Message) -> None:
        self._inbox.put(message)

    def leave(self) -> None:
        self._thread.join(0.0)


class ProcessCarrier(_Reports):
    """The disk's side in a process of its own, which no Ctrl-C and no closing terminal ends.

    Raises OSError when no process can be started.
    """

    def __init__(self) -> None:
        super().__init__()
        on_windows = sys.platform == "win32"
        self._process = subprocess.Popen(
            [sys.executable, "-I", "-S", "-c", _CODE],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=not on_windows,
            creationflags=_NEW_PROCESS_GROUP if on_windows else 0,
        )
        self.helper: int | None = self._process.pid
        self.lost = False
        self._outbox: queue.SimpleQueue[Message | None] = queue.SimpleQueue()
        for work in (self._pass_on, self._listen):
            threading.Thread(target=work, name="disk", daemon=True).start()

    def send(self, message: Message) -> None:
        self._outbox.put(message)

    def leave(self) -> None:
        self._outbox.put(None)
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(0.2)
            return
        _LEFT_BEHIND.append(self._process)

    def _pass_on(self) -> None:
        pipe = self._process.stdin
        assert pipe is not None
        with contextlib.suppress(OSError, ValueError), pipe:
            while (message := self._outbox.get()) is not None:
                pipe.write(json.dumps(message).encode("ascii") + b"\n")
                if self._outbox.empty():
                    pipe.flush()

    def _listen(self) -> None:
        pipe = self._process.stdout
        assert pipe is not None
        closed = False
        with pipe:
            for line in pipe:
                report = tuple(json.loads(line))
                closed = closed or report[0] in ("closed", "failed", "ended")
                self.put(report)
        if not closed:
            self.lost = True
            self.put(("failed", "No longer recorded: the helper that writes it has ended.", True))


def child_main() -> None:
    """Run the disk's side on the standard streams, until nothing more comes."""
    inbox: queue.SimpleQueue[Message] = queue.SimpleQueue()
    threading.Thread(target=_receive, args=(sys.stdin.buffer, inbox), daemon=True).start()
    out = sys.stdout.buffer

    def report(message: Message) -> None:
        with contextlib.suppress(OSError):  # nobody listens any more: write on all the same
            out.write(json.dumps(message).encode("ascii") + b"\n")
            out.flush()

    serve(inbox, report)
    report(("ended",))
    os._exit(0)  # what waits on the pipes must not hold it


def _receive(pipe: IO[bytes], inbox: "queue.SimpleQueue[Message]") -> None:
    """Take in everything at once, so that whoever sends may end while the disk does not answer."""
    for line in pipe:
        if line.endswith(b"\n"):
            inbox.put(tuple(json.loads(line)))
    inbox.put(("end",))
