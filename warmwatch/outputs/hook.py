"""`--hook COMMAND`: runs a command of the user's on chosen events, the event as JSON on its stdin.

Never through a shell, one run at a time, each with a limit, on a thread of its own. A failing hook
is reported and changes nothing else.
"""

import json
import os
import queue
import shlex
import shutil
import subprocess
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass

from warmwatch.core.events import Event, EventKind
from warmwatch.core.reading import Mark, MarkName
from warmwatch.errors import UsageError
from warmwatch.outputs.base import Entry, Summary
from warmwatch.outputs.ending import end_group
from warmwatch.outputs.jsonlines import entry_object
from warmwatch.words.view import View

LIMIT_S = 10.0
"""So long may one run take; then it is killed, with all that it started."""
LAST_S = 12.0
"""At the end the runs that wait may take so long together."""
WAITING_MOST = 64
TOLD_MOST = 5
"""So many failures are told; then only that there are more."""


@dataclass(frozen=True, slots=True)
class HookOptions:
    """What to run (program and arguments), and on which events and marks."""

    argv: tuple[str, ...]
    names: frozenset[str]


def parse_hook(command: str, chosen: str | None) -> HookOptions:
    """Return what `--hook` and `--hook-on` ask for; UsageError when it cannot be done.

    >>> sorted(parse_hook("echo hello", "entered,plug-out").names)
    ['entered', 'plug-out']
    """
    try:
        # On Windows a backslash is part of a path, and quotes stay where the words have them.
        argv = shlex.split(command, posix=os.name == "posix")
    except ValueError as error:
        raise UsageError(f"--hook {command}: {error}.") from None
    argv = [word.strip('"') for word in argv] if os.name != "posix" else argv
    if not argv or shutil.which(argv[0]) is None:
        raise UsageError(
            f"--hook {command}: there is no program {argv[0] if argv else ''!r}; "
            "name one that can be run, with its path where it is not on PATH."
        )
    return HookOptions(tuple(argv), _names(chosen))


def _names(chosen: str | None) -> frozenset[str]:
    known = [*map(str, EventKind), *map(str, MarkName)]
    if chosen is None:
        return frozenset(map(str, EventKind))
    names = [name.strip() for name in chosen.split(",") if name.strip()]
    wrong = [name for name in names if name not in known]
    if wrong or not names:
        raise UsageError(
            f"--hook-on {chosen}: {wrong[0] if wrong else 'nothing'} is no event or mark; "
            f"known are {', '.join(known)}."
        )
    return frozenset(names)


class Hook:
    """An output that runs commands; `say` gets a sentence when one fails."""

    def __init__(
        self, wish: HookOptions, say: Callable[[str], None], *, limit_s: float = LIMIT_S
    ) -> None:
        self._wish = wish
        self._say = say
        self._limit_s = limit_s
        self._waiting: queue.Queue[bytes | None] = queue.Queue(WAITING_MOST)
        self._thread: threading.Thread | None = None
        self._stop = threading.Event()
        self._failures = 0

    def take(self, entry: Entry) -> None:
        name = _name(entry)
        if name not in self._wish.names:
            return
        line = json.dumps(entry_object(entry), ensure_ascii=False, allow_nan=False) + "\n"
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="hook", daemon=True)
            self._thread.start()
        try:
            self._waiting.put_nowait(line.encode())
        except queue.Full:
            self._fail(f"too many runs wait, {name} is left out")

    def show(self, view: View) -> None:
        """Nothing: hooks are about what happened."""

    def close(self, summary: Summary) -> None:
        if self._thread is None:
            return
        deadline_s = time.monotonic() + LAST_S
        with suppress(queue.Full):
            self._waiting.put(None, timeout=LAST_S)
        self._thread.join(timeout=max(0.0, deadline_s - time.monotonic()))
        self._stop.set()
        self._thread.join(timeout=2.0)

    def _fail(self, why: str) -> None:
        self._failures += 1
        if self._failures <= TOLD_MOST:
            more = " Further failures are not reported." if self._failures == TOLD_MOST else ""
            self._say(f"The hook {self._wish.argv[0]}: {why}; the watch goes on.{more}")

    # Everything below runs on the hook's own thread.

    def _run(self) -> None:
        while not self._stop.is_set():
            line = self._waiting.get()
            if line is None:
                return
            try:
                self._once(line)
            except Exception as error:  # a fault here must not lose the next event
                self._fail(f"it cannot be run ({error})")

    def _once(self, line: bytes) -> None:
        child = subprocess.Popen(
            self._wish.argv,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            start_new_session=os.name == "posix",
        )
        try:
            said = self._follow(child, line)
        finally:
            _end(child)
        if said is None:
            self._fail(f"it took longer than {self._limit_s:g} s and was ended")
        elif child.returncode != 0:
            words = said.decode("utf-8", "replace").strip().splitlines()
            last = f": {words[-1][:200]}" if words else ""
            self._fail(f"it ended with {child.returncode}{last}")

    def _follow(self, child: "subprocess.Popen[bytes]", line: bytes) -> bytes | None:
        """Return what the child said on stderr, None when its time was up."""
        deadline_s = time.monotonic() + self._limit_s
        given: bytes | None = line
        while time.monotonic() < deadline_s and not self._stop.is_set():
            try:
                return child.communicate(given, timeout=0.1)[1]
            except subprocess.TimeoutExpired:
                given = None  # communicate goes on with what it was given first
        return None


def _name(entry: Entry) -> str:
    if isinstance(entry, Event):
        return str(entry.kind)
    return str(entry.name) if isinstance(entry, Mark) else ""


def _end(child: "subprocess.Popen[bytes]") -> None:
    """End a child whose time is up, with all that it started; nothing to do for one that ended."""
    end_group(child)
    for stream in (child.stdin, child.stderr):
        if stream is not None:
            with suppress(OSError):
                stream.close()


def hooks(commands: Iterable[str], chosen: str | None) -> tuple[HookOptions, ...]:
    """Return what several `--hook` options with one `--hook-on` ask for."""
    return tuple(parse_hook(command, chosen) for command in commands)
