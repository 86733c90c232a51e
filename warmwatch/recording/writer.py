"""Writes a recording as things happen; synced at least once a second, whole lines only."""

import contextlib
import os
import time
from collections import deque
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

from warmwatch.core.events import Event
from warmwatch.core.forecast.prior import Prior
from warmwatch.core.job import Job
from warmwatch.core.reading import Item
from warmwatch.errors import RecordingError
from warmwatch.recording.bounds import bounded
from warmwatch.recording.disk import DiskSync, Synced
from warmwatch.recording.rows import Chain, event_cells, item_cells, utc_text
from warmwatch.recording.sidecar import NOWHERE, new_visit, sidecar_path, sidecar_text, text_digest

SYNC_S = 1.0
PATIENCE_S = 0.2
"""So long a sync is waited for, so that a failure is told at once: as long as a link may block."""
STALLED_S = 3.0
CLOSING_S = 10.0
MOST_KEPT = 1 << 26
"""Bytes kept for a disk that does not answer: days of readings."""
LINE_END = "\r\n"
MAX_STEM = 200
"""Bytes of a recording's name without its endings; most systems take 255 in all."""


class Recorder:
    """One recording being written. Open it with `create`.

    Each line reaches the operating system at once and the disk within SYNC_S. RecordingError tells
    that the disk would not take more; what was written stays readable. A disk that does not answer
    is waited for PATIENCE_S; lines are then kept here until it does, and `stalled` says so.
    """

    def __init__(self, path: Path, file: BinaryIO, opened: Mapping[str, str]) -> None:
        self.path = path
        self.rows = 0
        self._file = file
        self._chain = Chain()
        self._size = 0
        self._synced_s = time.monotonic()
        self._unsynced = False
        self._kept: deque[bytes] = deque()
        self._kept_size = 0
        self._waited = False
        self.displaced = ""
        """What to tell once the file is no longer at `path`; it is still written."""
        self._disk = DiskSync(path, file)
        self._append(self._chain.schema.header)
        self._write(opened)
        self._took(self._disk.now(), time.monotonic())

    @property
    def stalled(self) -> bool:
        """Whether the disk has not answered for STALLED_S."""
        started_s = self._disk.started_s
        return started_s is not None and time.monotonic() - started_s >= STALLED_S

    def item(self, item: Item) -> None:
        """Write an input of the fold, before it is folded."""
        self._write(item_cells(bounded(item)))
        self.sync_if_due()

    def event(self, event: Event, utc_s: float | None) -> None:
        """Write an event, and let the disk have it at once."""
        self._write(event_cells(event, utc_s))
        self.sync()

    def sync_if_due(self) -> None:
        """Let the disk have what it does not have yet, if that is older than SYNC_S."""
        if self._free() and self._unsynced and time.monotonic() - self._synced_s >= SYNC_S:
            self.sync()

    def sync(self) -> None:
        """Let the disk have everything now; a disk that does not answer is not waited for long."""
        if self._free():
            self._disk.start()
            self._waited = False
            self._free()

    def _free(self, patience_s: float = PATIENCE_S) -> bool:
        """Whether no sync runs: then all lines have been written. Each is waited for once."""
        started_s = self._disk.started_s
        if started_s is None:
            return True
        synced = self._disk.ended(0.0 if self._waited else patience_s)
        self._waited = True
        if synced is None:
            return False
        self._took(synced, started_s)
        while self._kept:
            data = self._kept.popleft()
            self._kept_size -= len(data)
            self._put(data)
        return True

    def _took(self, synced: Synced, started_s: float) -> None:
        if synced.error is not None:
            raise self._failed(synced.error)
        if synced.removed:
            raise RecordingError(f"No longer recorded: {self.path} was removed.")
        self._synced_s, self._unsynced = started_s, False
        if synced.displaced:
            self.displaced = (
                f"No longer recorded as {self.path}: it was moved or renamed. It goes on in the "
                "same file, wherever that is now."
            )

    def close(self, elapsed_s: float, utc_s: float | None, outcome: str = "") -> None:
        """Write the closing row and close the file; a second call does nothing.

        `outcome` is what the recording shows about the level, a word of core.check.Outcome, so
        that a list of many recordings need not read them whole.
        """
        if self._file.closed:
            return
        cells = {
            "time": utc_text(utc_s),
            "elapsed_s": repr(elapsed_s),
            "kind": "closed",
            "name": outcome,
        }
        self._write({**cells, "text": f"rows={self.rows}"})
        self._wait_for_disk()  # for what was begun before the last lines
        self.sync()
        self._wait_for_disk()
        self._file.close()

    def _wait_for_disk(self) -> None:
        self._waited = False
        if not self._free(CLOSING_S):
            lost = f"its last {len(self._kept)} lines are lost" if self._kept else ""
            raise RecordingError(
                f"{self.path} could not be closed: the disk does not answer, "
                f"{lost or 'its last second may be lost'}. Look at its end before you rely on it."
            )

    def abandon(self) -> None:
        """Close the file without the closing row, after a failure."""
        self._disk.abandon()

    def _write(self, cells: Mapping[str, str]) -> None:
        self._append(self._chain.seal(cells))
        self.rows += 1

    def _append(self, line: str) -> None:
        data = (line + LINE_END).encode("utf-8")
        if self._free():
            self._put(data)
        elif self._kept_size + len(data) <= MOST_KEPT:
            self._kept.append(data)
            self._kept_size += len(data)
        else:
            raise RecordingError(
                f"No longer recorded: the disk of {self.path} does not answer, and no more can be "
                "kept for it; what was written stays."
            )

    def _put(self, data: bytes) -> None:
        try:
            written = self._file.write(data)
            if written != len(data):
                raise OSError("the disk took only part of a line")
        except OSError as error:
            raise self._failed(error) from None
        self._size += len(data)
        self._unsynced = True

    def _failed(self, error: OSError) -> RecordingError:
        with contextlib.suppress(OSError):  # a half line would only look like damage
            os.ftruncate(self._file.fileno(), self._size)
        why = error.strerror or str(error)
        return RecordingError(
            f"No longer recorded: {self.path} cannot be written ({why}); what was written stays."
        )


def create(
    folder: Path,
    job: Job,
    link: str,
    about: Mapping[str, object],
    utc_s: float,
    prior: Prior | None = None,
    *,
    visit: str = "",
    origins: Mapping[str, str] = NOWHERE,
) -> Recorder:
    """Create the recording's two files in `folder` and return the Recorder.

    The name is the start time and the job's labels; a taken name gets a number. `visit` and
    `origins` are as in `sidecar_text`; without a visit it begins one. Raises
    RecordingError when the folder cannot be written.
    """
    stem = _stem(job, utc_s)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path, file = _first_free(folder, stem)
    except OSError as error:
        raise RecordingError(
            f"Cannot record in {folder} ({error.strerror or error}): give a folder that can be "
            "written with --record DIR, or go without with --no-record."
        ) from None
    try:
        visit = visit or new_visit(utc_s, job.vehicle)
        text = sidecar_text(path.name, job, link, about, prior, visit=visit, origins=origins)
        opened = {"time": utc_text(utc_s), "elapsed_s": "0.0", "kind": "opened"}
        _write_through(sidecar_path(path), text)
        return Recorder(path, file, {**opened, "text": f"sidecar={text_digest(text)}"})
    except Exception as error:
        _take_back(path, file)
        if not isinstance(error, OSError):
            raise
        raise RecordingError(f"Cannot record in {folder} ({error.strerror or error}).") from None


def _take_back(path: Path, file: BinaryIO) -> None:
    """Leave no half recording behind when the start failed."""
    with contextlib.suppress(OSError):
        file.close()
    for left in (path, sidecar_path(path)):
        with contextlib.suppress(OSError):
            left.unlink()


def _stem(job: Job, utc_s: float) -> str:
    start = datetime.fromtimestamp(utc_s, tz=UTC).strftime("%Y-%m-%dT%H-%M-%SZ")
    labels = [_plain(label) for label in (job.vehicle, job.method)]
    stem = "_".join([start, *(label for label in labels if label)])
    # Systems count a name's bytes, not its letters; room is left for a number and the endings.
    return stem.encode("utf-8")[:MAX_STEM].decode("utf-8", "ignore").rstrip("-._")


def _plain(label: str) -> str:
    kept = "".join(char if char.isalnum() or char in "-." else "-" for char in label)
    return kept.strip("-.")[:40]


def _first_free(folder: Path, stem: str) -> tuple[Path, BinaryIO]:
    number = 1
    while True:
        path = folder / (f"{stem}.csv" if number == 1 else f"{stem}_{number}.csv")
        if not sidecar_path(path).exists():
            try:
                return path, path.open("xb", buffering=0)
            except FileExistsError:
                pass
        number += 1


def _write_through(path: Path, text: str) -> None:
    with path.open("x", encoding="utf-8", newline="") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
