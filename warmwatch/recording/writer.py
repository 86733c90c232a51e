"""Writes a recording as things happen; synced at least once a second, whole lines only."""

import time
from collections import deque
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path

from warmwatch.core.events import Event
from warmwatch.core.forecast.prior import Prior
from warmwatch.core.job import Job
from warmwatch.core.level.verdict import LevelVerdict
from warmwatch.core.reading import Item
from warmwatch.errors import RecordingError
from warmwatch.recording.bounds import bounded
from warmwatch.recording.carrier import Carrier, ProcessCarrier, ThreadCarrier
from warmwatch.recording.disk import Message
from warmwatch.recording.names import sidecar_text, stem_of
from warmwatch.recording.rows import event_cells, item_cells, utc_text, verdict_cells
from warmwatch.recording.schema import current_schema
from warmwatch.recording.seal.checkpoint import Checkpoint, Signer
from warmwatch.recording.seal.signature import fingerprint
from warmwatch.recording.sidecar import NOWHERE, new_visit, sidecar_document
from warmwatch.recording.zone import local_zone

STALLED_S = 3.0
OPENING_S = 3.0
CLOSING_S = 10.0
HURRIED_S = 0.8
"""So long the disk is waited for when the mechanic wants to end."""
MOST_KEPT = 1 << 26
"""Bytes kept for a disk that does not answer: days of readings."""
_LOOK_S = 0.05


class Recorder:
    """One recording being written. Open it with `create`.

    Nothing here waits for the disk, except for the opening and the closing, and these for a bounded
    time. Each row is handed over at once; it reaches the operating system as soon as the disk lets
    it, and the disk within a second. RecordingError tells that the disk takes nothing more; what
    was written stays readable.
    """

    def __init__(self, carrier: Carrier, path: Path, signer: Signer | None = None) -> None:
        self.path = path
        self.rows = 0
        self.opened = self.displaced = False
        self.there = True
        self._schema = current_schema()
        self._carrier = carrier
        self._signer = signer
        self._notices: list[str] = []
        self._failure = ""
        self._sent = self._done = 0
        self._waiting: deque[tuple[float, int, int]] = deque()  # when sent, bytes, rows
        self._waiting_size = self._waiting_rows = 0
        self._ended = self._closed = False

    @property
    def stalled(self) -> bool:
        """Whether the disk has not answered for STALLED_S."""
        return bool(self._waiting) and time.monotonic() - self._waiting[0][0] >= STALLED_S

    @property
    def helper(self) -> int | None:
        """The process that writes, None where a thread of this one does."""
        return self._carrier.helper

    @property
    def waiting(self) -> int:
        """How many rows the disk has not taken yet."""
        return self._waiting_rows

    def item(self, item: Item) -> None:
        """Hand over an input of the fold, before it is folded."""
        self._write(item_cells(bounded(item)))

    def event(self, event: Event, utc_s: float | None) -> None:
        """Hand over an event, and let the disk have it at once."""
        self._write(event_cells(event, utc_s))
        self._send(("sync",))

    def poll(self) -> None:
        """Take in what the disk reported; RecordingError when it takes nothing more."""
        for report in self._carrier.reports():
            self._took(*report)
        if self._failure:
            raise RecordingError(self._failure)

    def notices(self) -> list[str]:
        """Return what the mechanic must hear about the files since."""
        told, self._notices = self._notices, []
        return told

    def flush(self, wait_s: float = CLOSING_S) -> bool:
        """Wait until all was written and synced; whether it was."""
        self._send(("sync",))
        return self._wait_until(lambda: not self._waiting, lambda: wait_s)

    def close(
        self,
        elapsed_s: float,
        utc_s: float | None,
        verdict: LevelVerdict | None = None,
        *,
        hurried: Callable[[], bool] = lambda: False,
    ) -> None:
        """Write the closing row and close the file; a second call does nothing.

        `verdict` is what the recording shows about the level, so that a list of many recordings
        need not read them whole. While `hurried` the disk is
        waited for only so long as the mechanic who wants to end can be asked to.
        """
        if self._ended:
            return
        self._ended = True
        cells = {
            "time": utc_text(utc_s),
            "elapsed_s": repr(elapsed_s),
            "kind": "closed",
            "text": f"rows={self.rows}",
            **({} if verdict is None else verdict_cells(verdict)),
        }
        self._send(("close", self._schema.body(cells)), rows=1)
        done = self._wait_until(lambda: self._closed, lambda: HURRIED_S if hurried() else CLOSING_S)
        self._carrier.leave()
        if not done:
            raise RecordingError(self._not_closed())

    def abandon(self, wait_s: float = HURRIED_S) -> None:
        """End without the closing row; a recording without any reading is taken back."""
        if not self._ended:
            self._ended = True
            self._send(("end",))
            self._wait_until(lambda: not self._waiting, lambda: wait_s)
            self._carrier.leave()

    def wait_for_opening(self) -> None:
        """Wait until the files are there, but not longer than OPENING_S."""
        self._wait_until(lambda: self.opened, lambda: OPENING_S)
        if self._failure:
            raise RecordingError(self._failure)

    def begin(self, opening: Mapping[str, object]) -> None:
        """Hand over what the files are to be made with."""
        self._send(("open", opening), rows=1)
        self.rows = 1

    def _write(self, cells: Mapping[str, str]) -> None:
        body = self._schema.body(cells)
        self.poll()
        if self._waiting_size + len(body) > MOST_KEPT:
            raise RecordingError(
                f"No longer recorded: the disk of {self.path} does not answer, and the memory for "
                "waiting rows is full; what was written stays."
            )
        self._send(("row", body), rows=1)
        self.rows += 1

    def _send(self, message: Message, rows: int = 0) -> None:
        size = sum(len(part) for part in message[1:] if isinstance(part, str))
        self._waiting.append((time.monotonic(), size, rows))
        self._waiting_size += size
        self._waiting_rows += rows
        self._carrier.send(message)

    def _took(self, kind: str, *given: object) -> None:
        if kind == "done":
            self._take_done(int(str(given[0])))
        elif kind in ("opened", "moved"):
            self.opened, self.path = True, Path(str(given[0]))
        elif kind == "told":
            self._notices.append(str(given[0]))
        elif kind == "displaced":
            self.displaced = True
            self._notices.append(str(given[0]))
        elif kind == "closed":
            self._closed = True
        elif kind == "head" and self._signer is not None and not self._ended:
            self._sign(self._signer, int(str(given[0])), str(given[1]))
        elif kind == "failed":
            self._failure, self.there = self._failure or str(given[0]), bool(given[1])

    def _sign(self, signer: Signer, rows: int, digest: str) -> None:
        now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        point = Checkpoint(self.path.name, rows, digest, now).signed(signer)
        self._send(("checkpoint", point.text()))

    def _take_done(self, done: int) -> None:
        while self._done < done and self._waiting:
            _, size, rows = self._waiting.popleft()
            self._waiting_size -= size
            self._waiting_rows -= rows
            self._done += 1
        if self._waiting:  # the disk has just answered: what waits does so from now on
            self._waiting[0] = (time.monotonic(), *self._waiting[0][1:])

    def _wait_until(self, good: Callable[[], bool], seconds: Callable[[], float]) -> bool:
        """Wait for reports until it is good or the disk failed; the time may become shorter."""
        start_s = time.monotonic()
        while True:
            for report in self._carrier.reports():
                self._took(*report)
            if good() or self._failure or time.monotonic() - start_s >= seconds():
                return good()
            self._carrier.wait(_LOOK_S)

    def _not_closed(self) -> str:
        if self._failure:
            return self._failure
        text = (
            f"{self.path} could not be closed: the disk does not answer, and the last "
            f"{self._waiting_rows} lines have not reached it."
        )
        if self.helper is None:
            return f"{text} They are lost unless it answers before this program ends."
        return (
            f"{text} A helper program (process {self.helper}) keeps them and writes them "
            "as soon as the disk answers: leave the computer on, and look at the recording's end "
            "with `warmwatch verify` before you rely on it."
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
    signer: Signer | None = None,
    helper: bool = False,
) -> Recorder:
    """Create the recording's two files in `folder` and return the Recorder.

    The name is the start time and the job's labels; a taken name gets a number. `visit` and
    `origins` are as in `sidecar_document`; without a visit it begins one. The `signer` signs once a
    minute how far it is. With `helper` a process of its own writes. A disk that does not answer is
    waited for OPENING_S; then the Recorder keeps what comes until it does, with a name that may
    still change. Raises RecordingError when the folder cannot be written.
    """
    visit = visit or new_visit(utc_s, job.vehicle)
    zone = local_zone(utc_s)
    document = sidecar_document(job, link, about, prior, visit=visit, origins=origins, zone=zone)
    if signer is not None:
        document["warmwatch:checkpoints"] = fingerprint(signer.public)
    sidecar_text(document)  # what cannot be written fails here
    opening = {
        "folder": str(folder),
        "stem": stem_of(utc_s, job.vehicle, job.method),
        "columns": current_schema().columns,
        "sidecar": document,
        "cells": {"time": utc_text(utc_s), "elapsed_s": "0.0", "kind": "opened"},
    }
    try:
        return _opened(_carrier(helper), folder, opening, signer)
    except RecordingError as error:
        raise RecordingError(
            f"Cannot record in {folder} ({error}): give a folder that can be "
            "written with --record DIR, or do not record (--no-record)."
        ) from None


def _carrier(helper: bool) -> Carrier:
    if helper:
        try:
            return ProcessCarrier()
        except OSError:  # no more processes: a thread is next best
            pass
    return ThreadCarrier()


def _opened(
    carrier: Carrier, folder: Path, opening: Mapping[str, object], signer: Signer | None
) -> Recorder:
    recorder = Recorder(carrier, folder / f"{opening['stem']}.csv", signer)
    recorder.begin(opening)
    try:
        recorder.wait_for_opening()
    except BaseException as error:  # Ctrl-C, too: no empty recording stays behind
        recorder.abandon()
        if isinstance(error, RecordingError) and carrier.lost:
            return _opened(ThreadCarrier(), folder, opening, signer)
        raise
    return recorder
