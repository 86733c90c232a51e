"""Run another program for a bounded time, so that its crash or hang stays its own."""

import os
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence
from enum import Enum, auto

from warmwatch.outputs.ending import end_group

Wait = Callable[[float], bool]
"""Waits up to so many seconds; True as soon as the program is to be cut short."""

_LOOK_S = 0.03


class PlayOutcome(Enum):
    """How a child process ended."""

    DONE = auto()
    CUT = auto()
    FAILED = auto()
    HUNG = auto()


def run_child(
    argv: Sequence[str], limit_s: float, wait: Wait, extra_env: Mapping[str, str] | None = None
) -> PlayOutcome:
    """Run `argv` (no shell, no input, output dropped) until it ends, is cut, or `limit_s` is over.

    `extra_env` is added to the environment. A program that cannot be started counts as FAILED.
    Nothing is left running.
    """
    try:
        child = subprocess.Popen(
            argv,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, **extra_env} if extra_env else None,
            # Its own session: Ctrl-C in the terminal is ours to handle, and killing the session
            # reaches whatever a wrapper script has started.
            start_new_session=os.name == "posix",
        )
    except (OSError, ValueError):
        return PlayOutcome.FAILED
    try:
        return _follow(child, time.monotonic() + limit_s, wait)
    finally:
        end_group(child)


def _follow(child: subprocess.Popen[bytes], deadline_s: float, wait: Wait) -> PlayOutcome:
    while child.poll() is None:
        if time.monotonic() >= deadline_s:
            return PlayOutcome.HUNG
        if wait(_LOOK_S):
            return PlayOutcome.CUT
    return PlayOutcome.DONE if child.returncode == 0 else PlayOutcome.FAILED
