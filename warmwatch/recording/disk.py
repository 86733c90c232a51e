"""Lets the disk have a file from a thread of its own, so that a disk that hangs holds up nobody."""

import contextlib
import os
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO


@dataclass(frozen=True, slots=True)
class Synced:
    """How one sync ended. `displaced` says that the file is no longer at its path."""

    error: OSError | None = None
    removed: bool = False
    displaced: bool = False


class DiskSync:
    """Syncs one file; `start` begins it, `ended` gives how it went, once.

    One thread for each sync, and one sync at a time: there is nothing to stop when the file is
    closed, and a thread that the disk never lets go of ends with the process.
    """

    def __init__(self, path: Path, file: BinaryIO) -> None:
        self._path = path
        self._file = file
        found = os.fstat(file.fileno())
        # Some file systems count no links at all; there a removal cannot be noticed.
        self._counted = found.st_nlink > 0
        self._identity = found.st_dev, found.st_ino
        self._steady = not self._moved()  # some shares number a file anew each time it is asked
        self._done = threading.Event()
        self._done.set()
        self._abandoned = False
        self._synced: Synced | None = None
        self.started_s: float | None = None
        """When the sync that runs now was begun (time.monotonic), None while none runs."""

    def now(self) -> Synced:
        """Sync on this thread."""
        try:
            os.fsync(self._file.fileno())
            removed = self._counted and os.fstat(self._file.fileno()).st_nlink == 0
        except OSError as error:
            return Synced(error)
        return Synced(removed=removed, displaced=self._steady and self._moved())

    def start(self) -> None:
        """Begin a sync; none may be running."""
        self.started_s = time.monotonic()
        self._done.clear()
        threading.Thread(target=self._run, name="disk", daemon=True).start()

    def ended(self, wait_s: float) -> Synced | None:
        """Return how the sync that was begun ended; None while it runs, after at most `wait_s`."""
        if self.started_s is None or not self._done.wait(wait_s):
            return None
        self.started_s = None
        return self._synced

    def abandon(self) -> None:
        """Close the file, once the disk answers: closing, too, might never return before."""
        self._abandoned = True
        if self._done.is_set():
            self._close()

    def _close(self) -> None:
        with contextlib.suppress(OSError):
            self._file.close()

    def _run(self) -> None:
        try:
            self._synced = self.now()
        except ValueError as error:  # closed meanwhile
            self._synced = Synced(OSError(str(error)))
        self._done.set()
        if self._abandoned:
            self._close()

    def _moved(self) -> bool:
        try:
            found = self._path.stat()
        except (FileNotFoundError, NotADirectoryError):
            return True
        except OSError:  # a share that is away for a moment: the write itself will tell
            return False
        return (found.st_dev, found.st_ino) != self._identity
