"""Ctrl-Z and `fg` (POSIX job control): the terminal is given back before the watch stands still."""

import os
import signal
import threading
from types import FrameType, TracebackType
from typing import Any, Protocol

STANDING = "\nwarmwatch is stopped: it reads, records and signals nothing until you type fg.\n"


class Pausing(Protocol):
    """Something that holds the terminal."""

    def pause(self) -> None:
        """Give the terminal back; may be called twice."""

    def resume(self) -> None:
        """Take it again, once it is ours; may be called twice."""


class JobControl:
    """Between enter and exit all `holders` leave the terminal whenever the program is stopped.

    Also after a stop that cannot be caught (SIGSTOP) they take it again. Does nothing on systems
    without these signals. To be used on the main thread.
    """

    def __init__(self, *holders: Pausing) -> None:
        self._holders = holders
        self._before: dict[int, Any] = {}

    def __enter__(self) -> None:
        if self._holders and hasattr(signal, "SIGTSTP"):
            self._before = {
                signal.SIGTSTP: signal.signal(signal.SIGTSTP, self._stop),
                signal.SIGCONT: signal.signal(signal.SIGCONT, self._go_on),
            }

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _stop(self, number: int, frame: FrameType | None) -> None:
        self._pause()
        # Not by print: the signal may have come in the middle of one.
        os.write(2, STANDING.encode())
        signal.signal(number, signal.SIG_DFL)
        signal.pthread_kill(threading.get_ident(), number)
        # Here the program stands still. Where nobody could wake it the system lets it run on.
        signal.signal(number, self._stop)
        self._resume()

    def _go_on(self, number: int, frame: FrameType | None) -> None:
        self._pause()
        self._resume()

    def _pause(self) -> None:
        for holder in self._holders:
            holder.pause()

    def _resume(self) -> None:
        for holder in self._holders:
            holder.resume()
