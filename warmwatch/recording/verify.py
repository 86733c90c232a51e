"""Verifies a recording: digest chain, sidecar, events re-derived from the items, signature.

Strict where the reader is lenient: line ends, encoding and everything else must be exactly what
the writer writes, so that no byte can change unnoticed. What this proves: the file is as the
program wrote it, and with a signature, that nobody without the key changed it afterwards. Not
that the sensor told the truth. Without a signature somebody who knows the format can write a new
chain.
"""

import hashlib
import io
from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Any, BinaryIO

from warmwatch import __version__
from warmwatch.core.check import outcome
from warmwatch.core.events import Event
from warmwatch.errors import RecordingError
from warmwatch.recording.reader import MAX_LINE
from warmwatch.recording.rows import HEADER, Chain, cells_item, event_cells, split_line
from warmwatch.recording.sidecar import fold_digest, parse_sidecar, sidecar_path, sidecar_watch
from warmwatch.recording.signature import (
    MAX_SIGNATURE,
    Signature,
    SignatureError,
    read_signature,
    signature_path,
)

MAX_SIDECAR = 1 << 20
MAX_RECORDING = 1 << 30
"""A day at 10 Hz is about 200 MB."""


class SealState(StrEnum):
    """What verification found."""

    INTACT = "intact"
    CHANGED = "changed"
    TORN = "torn"
    NEVER_CLOSED = "never-closed"
    OTHER_KEY = "other-key"


@dataclass(frozen=True, slots=True)
class Report:
    """The result: `row` is the line of the file (the header is 1) at which it went wrong.

    `events` is "same" or how they differ; `signed_by` the fingerprint of the key of a good
    signature, empty without one. Of a proof, `inside` tells how the attached recording is.
    """

    state: SealState
    reason: str = ""
    row: int | None = None
    rows: int = 0
    digest: str = ""
    events: str = ""
    outcome: str = ""
    signed_by: str = ""
    signed_name: str = ""
    signed_time: str = ""
    inside: str = ""

    @property
    def exit_code(self) -> int:
        """0 intact, 3 torn or never closed, 1 everything else."""
        if self.state is SealState.INTACT:
            return 0
        return 3 if self.state in (SealState.TORN, SealState.NEVER_CLOSED) else 1


@dataclass(frozen=True, slots=True)
class Parts:
    """A recording taken out of wherever it lies; the bytes of its companions, None without."""

    name: str
    data: BinaryIO
    sidecar: bytes | None
    signature: bytes | None


def verify_recording(path: Path) -> Report:
    """Verify a recording beside its sidecar; RecordingError when it cannot be read at all."""
    try:
        sidecar = _small(sidecar_path(path), MAX_SIDECAR)
        signature = _small(signature_path(path), MAX_SIGNATURE)
        with path.open("rb") as file:
            return verify_parts(Parts(path.name, file, sidecar, signature))
    except OSError as error:
        raise RecordingError(f"Cannot read {path} ({error.strerror or error}).") from None


def _small(path: Path, limit: int) -> bytes | None:
    try:
        with path.open("rb") as file:
            return file.read(limit + 1)
    except FileNotFoundError:
        return None


def verify_parts(parts: Parts) -> Report:
    """Verify a recording given as its parts; never raises for what is in them."""
    checker = _Checker(parts)
    try:
        report = checker.run()
    except _Broken as broken:
        report = checker.report(broken.state, broken.reason, broken.row)
    return _with_signature(report, parts, checker.sha256.hexdigest())


class _Broken(Exception):
    def __init__(self, reason: str, row: int | None, state: SealState = SealState.CHANGED) -> None:
        super().__init__(reason)
        self.reason, self.row, self.state = reason, row, state


class _Checker:
    """Goes through the file once, in bounded memory."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._chain = Chain()
        self._rows = 0
        self._closed: Mapping[str, str] | None = None
        self._replay: _Replay | None = None
        self.sha256 = hashlib.sha256()

    def run(self) -> Report:
        for number, line in self._lines():
            if number == 1:
                if line != HEADER:
                    raise _Broken("the first line is not the header of a recording", 1)
                continue
            self._row(number, line)
        if self._rows == 0:
            raise _Broken("no row is left", None, SealState.TORN)
        if self._closed is None:
            reason = f"it was never closed; all {self._rows} rows up to its end are whole"
            raise _Broken(reason, None, SealState.NEVER_CLOSED)
        assert self._replay is not None
        self._replay.end(self._closed)
        return self.report(SealState.INTACT, "", None)

    def report(self, state: SealState, reason: str, row: int | None) -> Report:
        replay = self._replay
        return Report(
            state=state,
            reason=reason,
            row=row,
            rows=self._rows,
            digest=self._chain.digest,
            events="" if replay is None else replay.verdict,
            outcome=replay.outcome() if replay is not None and state is SealState.INTACT else "",
        )

    def _lines(self) -> Iterator[tuple[int, str]]:
        number = size = 0
        while data := self._parts.data.readline(MAX_LINE):
            number += 1
            size += len(data)
            self.sha256.update(data)
            if not data.endswith(b"\r\n"):
                self._refuse_line(number, data)
            if size > MAX_RECORDING:
                raise _Broken("it is longer than any recording", number)
            try:
                text = data[:-2].decode("utf-8")
            except UnicodeDecodeError:
                raise _Broken("the row is no UTF-8 text", number) from None
            yield number, text

    def _refuse_line(self, number: int, data: bytes) -> None:
        rest = self._parts.data.read(MAX_LINE)
        while rest:
            if data.strip(b"\0") or rest.strip(b"\0"):
                raise _Broken("the row does not end like a row of a recording", number)
            rest = self._parts.data.read(MAX_LINE)  # zero bytes, as a power cut may leave them
        if self._closed is not None:
            raise _Broken("something follows the closing row", number)
        kept = f"rows 2 to {number - 1} are whole" if number > 2 else "nothing before it is left"
        raise _Broken(
            f"row {number} is torn, {len(data)} bytes of it are left; {kept}",
            number,
            SealState.TORN,
        )

    def _row(self, number: int, line: str) -> None:
        if self._closed is not None:
            raise _Broken("something follows the closing row", number)
        if not self._chain.check(line):
            raise _Broken("the row, or one taken out or put in before it, was changed", number)
        self._rows += 1
        try:
            cells = split_line(line)
        except ValueError as error:
            raise _Broken(f"the row cannot be read: {error}", number) from None
        if (cells["kind"] == "opened") != (number == 2):
            raise _Broken("the opening row is missing or not the first", number)
        if number == 2:
            self._replay = self._opened(cells)
        elif cells["kind"] == "closed":
            self._close(number, cells)
        else:
            assert self._replay is not None
            self._replay.row(number, cells)

    def _opened(self, cells: Mapping[str, str]) -> "_Replay":
        sidecar = self._parts.sidecar
        if sidecar is None:
            raise _Broken("its sidecar is missing: keep the two files together", 2)
        if cells["text"] != "sidecar=" + hashlib.sha256(sidecar).hexdigest():
            raise _Broken("its sidecar was changed", 2)
        try:
            return _Replay(parse_sidecar(sidecar))
        except RecordingError as error:
            raise _Broken(str(error), 2) from None

    def _close(self, number: int, cells: Mapping[str, str]) -> None:
        self._closed = cells
        if cells["text"] != f"rows={self._rows - 1}":
            raise _Broken("the closing row counts other rows than there are", number)


class _Replay:
    """Folds the items again and holds each recorded event against the one that comes out."""

    def __init__(self, sidecar: Mapping[str, Any]) -> None:
        self._watch = sidecar_watch(sidecar)
        self._expected: deque[Event] = deque()
        self._utc_s: float | None = None
        versions = sidecar.get("warmwatch:versions")
        versions = versions if isinstance(versions, Mapping) else {}
        self._same_fold = bool(fold_digest()) and versions.get("fold") == fold_digest()
        self._made_by = versions.get("warmwatch")
        self._differs = False

    @property
    def verdict(self) -> str:
        """Whether the recorded events are those that the items bring forth."""
        if not self._differs:
            return "same"
        if self._same_fold:
            return "different"
        made_by = f"another warmwatch ({self._made_by}; this is {__version__})"
        return f"not all the same, recorded by {made_by}"

    def row(self, number: int, cells: Mapping[str, str]) -> None:
        try:
            item = None if cells["kind"] == "event" else cells_item(cells)
            if item is None and cells["kind"] != "event":
                raise ValueError(f"{cells['kind']!r} is no kind of row")
            if item is None:
                self._event(number, cells)
                return
            self._nothing_missing(number)
            self._expected.extend(r for r in self._watch.step(item) if isinstance(r, Event))
            self._utc_s = item.utc_s
        except (ValueError, TypeError, OverflowError, RecursionError) as error:
            raise _Broken(f"the row cannot be read: {error}", number) from None

    def end(self, closed: Mapping[str, str]) -> None:
        self._nothing_missing(None)
        if closed["name"] and closed["name"] != self.outcome():
            self._differ("the closing row states another outcome than the readings give", None)

    def outcome(self) -> str:
        checks = self._watch.checks
        return str(outcome(checks[-1] if checks else None, self._watch.job.band))

    def _event(self, number: int, cells: Mapping[str, str]) -> None:
        event = self._expected.popleft() if self._expected else None
        wanted = None if event is None else event_cells(event, self._utc_s)
        if wanted is None or any(cells[name] != wanted.get(name, "") for name in _COMPARED):
            self._differ("the readings give no such event here", number)

    def _nothing_missing(self, number: int | None) -> None:
        if self._expected:
            event = self._expected[0]
            self._expected.clear()
            self._differ(f"the event {event.kind} that the readings give is missing", number)

    def _differ(self, reason: str, number: int | None) -> None:
        # Another core may judge otherwise: that alone is no forgery.
        self._differs = True
        if self._same_fold:
            raise _Broken(reason, number)


_COMPARED = tuple(name for name in HEADER.split(",") if name != "digest")


def _with_signature(report: Report, parts: Parts, sha256: str) -> Report:
    if parts.signature is None or report.state is not SealState.INTACT:
        return report
    try:
        signature = read_signature(parts.signature)
    except SignatureError as error:
        return replace(report, state=SealState.CHANGED, reason=str(error))
    return signed_report(report, signature, sha256)


def signed_report(report: Report, signature: Signature, sha256: str) -> Report:
    """Return the report with a good signature in it; CHANGED when it is of another file."""
    if (signature.digest, signature.sha256) != (report.digest, sha256):
        reason = "the signature beside it belongs to another recording, or it was changed"
        return replace(report, state=SealState.CHANGED, reason=reason)
    return replace(
        report,
        signed_by=signature.fingerprint,
        signed_name=signature.key_name,
        signed_time=signature.time,
    )


def require_key(report: Report, fingerprint: str) -> Report:
    """Return the report, turned to OTHER_KEY when that key did not sign."""
    if report.state is not SealState.INTACT or report.signed_by == fingerprint:
        return report
    signed = f"signed by {report.signed_by}" if report.signed_by else "not signed"
    reason = f"it is {signed}, asked for was {fingerprint}"
    return replace(report, state=SealState.OTHER_KEY, reason=reason)


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def verify_bytes(name: str, data: bytes, sidecar: bytes | None, signature: bytes | None) -> Report:
    """Verify a recording held in memory."""
    return verify_parts(Parts(name, io.BytesIO(data), sidecar, signature))
