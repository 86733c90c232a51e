"""Verifies a recording: digest chain, sidecar, events re-derived from the items, signature.

Strict where the reader is lenient: line ends, encoding and everything else must be exactly what
the writer writes, so that no byte can change unnoticed. What this proves: the file is as the
program wrote it, and with a signature, that nobody without the key changed it afterwards. Not
that the sensor told the truth. Without a signature somebody who knows the format can write a new
chain.
"""

import hashlib
import io
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

from warmwatch.errors import RecordingError
from warmwatch.recording.names import checkpoint_path, sidecar_path
from warmwatch.recording.reader import MAX_LINE
from warmwatch.recording.rows import Chain, utc_seconds
from warmwatch.recording.schema import described_columns, schema_of
from warmwatch.recording.seal.checkpoint import MAX_CHECKPOINT, held_against, read_checkpoint
from warmwatch.recording.seal.clock import Clock
from warmwatch.recording.seal.rederive import Broken, Replay
from warmwatch.recording.seal.report import KeptBus, Report, SealState
from warmwatch.recording.seal.signature import MAX_SIGNATURE, SignatureError, signature_path
from warmwatch.recording.seal.signed import with_signature
from warmwatch.recording.sidecar import NewerFormat, parse_sidecar

MAX_SIDECAR = 1 << 20
MAX_RECORDING = 1 << 30
"""A day at 10 Hz is about 200 MB."""


@dataclass(frozen=True, slots=True)
class Parts:
    """A recording as bytes, from a file or a proof; its companions are None where missing."""

    name: str
    data: BinaryIO
    sidecar: bytes | None
    signature: bytes | None
    checkpoint: bytes | None = None


def verify_recording(path: Path) -> Report:
    """Verify a recording beside its sidecar; RecordingError when it cannot be read at all."""
    try:
        sidecar = _small(sidecar_path(path), MAX_SIDECAR)
        signature = _small(signature_path(path), MAX_SIGNATURE)
        checkpoint = _small(checkpoint_path(path), MAX_CHECKPOINT)
        with path.open("rb") as file:
            report = verify_parts(Parts(path.name, file, sidecar, signature, checkpoint))
        return report if report.bus is None else replace(report, bus=_found(report.bus, path))
    except OSError as error:
        raise RecordingError(f"Cannot read {path} ({error.strerror or error}).") from None


def _found(bus: KeptBus, recording: Path) -> KeptBus:
    log = recording.with_name(bus.name)
    if not log.is_file():
        return replace(bus, state="missing")
    return replace(bus, state="intact" if file_sha256(log) == bus.sha256 else "changed")


def _small(path: Path, limit: int) -> bytes | None:
    try:
        with path.open("rb") as file:
            return file.read(limit + 1)
    except FileNotFoundError:
        return None


def verify_parts(parts: Parts) -> Report:
    """Verify a recording given as its parts; never raises for what is in them."""
    checker = _Checker(parts)
    with suppress(SignatureError):
        checker.digests[read_checkpoint(parts.checkpoint or b"").rows] = ""
    try:
        report = checker.run()
    except Broken as broken:
        report = checker.report(broken.state, broken.reason, broken.row)
    report = held_against(report, parts.checkpoint, checker.promised, checker.digests)
    return with_signature(report, parts.signature, parts.name, checker.sha256.hexdigest())


class _Checker:
    """Goes through the file once, in bounded memory."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._chain = Chain()
        self._rows = 0
        self._closed: Mapping[str, str] | None = None
        self._replay: Replay | None = None
        self._called = parts.name
        self.promised = ""
        """The key that the sidecar says makes checkpoints."""
        self.digests: dict[int, str] = {}
        """Digests of the rows asked for, by how many rows there were then."""
        self._utc_s: float | None = None
        self._ended_s: float | None = None
        self._clock = Clock()
        self.sha256 = hashlib.sha256()

    def run(self) -> Report:
        for number, line in self._lines():
            if number == 1:
                schema = schema_of(line)
                if schema is None:
                    raise Broken("the first line is not the header of a recording", 1)
                self._chain = Chain(schema)
                continue
            self._row(number, line)
        if self._rows == 0:
            raise Broken("no row is left", None, SealState.TORN)
        if self._closed is None:
            reason = f"it was never closed; all {self._rows} rows up to its end are whole"
            raise Broken(reason, None, SealState.NEVER_CLOSED)
        assert self._replay is not None
        self._replay.end(self._closed)
        if not self._replay.worked_out:
            return self.report(SealState.OTHER_VERSION, self._replay.other_version, None)
        return self.report(SealState.INTACT, self._renamed(), None)

    def _renamed(self) -> str:
        if self._called == self._parts.name:
            return ""
        return f"it was recorded as {self._called}, the name that its sidecar still gives"

    def report(self, state: SealState, reason: str, row: int | None) -> Report:
        replay = self._replay
        ended = state in (SealState.INTACT, SealState.OTHER_VERSION)
        return Report(
            state=state,
            reason=reason,
            row=row,
            rows=self._rows,
            digest=self._chain.digest,
            events="" if replay is None else replay.verdict,
            # An invented vehicle's time runs ahead of the clock on the wall.
            ended_s=None if replay is None or replay.invented else self._ended_s,
            outcome=replay.outcome() if replay is not None and ended else "",
            remarks=(*self._clock.remarks, *_raw_remarks(replay)),
            vouched=replay.vouched(self._utc_s) if replay is not None and ended else None,
            bus=None if replay is None else replay.bus,
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
                raise Broken("it is longer than any recording", number)
            try:
                text = data[:-2].decode("utf-8")
            except UnicodeDecodeError:
                raise Broken("the row is not UTF-8 text", number) from None
            yield number, text

    def _refuse_line(self, number: int, data: bytes) -> None:
        rest = self._parts.data.read(MAX_LINE)
        while rest:
            if data.strip(b"\0") or rest.strip(b"\0"):
                raise Broken("the row does not end like a row of a recording", number)
            rest = self._parts.data.read(MAX_LINE)  # zero bytes, as a power cut may leave them
        if self._closed is not None:
            raise Broken("something follows the closing row", number)
        kept = f"rows 2 to {number - 1} are whole" if number > 2 else "nothing before it is left"
        raise Broken(
            f"row {number} is torn, {len(data)} bytes of it are left; {kept}",
            number,
            SealState.TORN,
        )

    def _row(self, number: int, line: str) -> None:
        if self._closed is not None:
            raise Broken("something follows the closing row", number)
        if not self._chain.check(line):
            raise Broken("this row was changed, or a row before it was removed or added", number)
        self._rows += 1
        if self._rows in self.digests:
            self.digests[self._rows] = self._chain.digest
        try:
            cells = self._chain.schema.split(line)
        except ValueError as error:
            raise Broken(f"the row cannot be read: {error}", number) from None
        if (cells["kind"] == "opened") != (number == 2):
            raise Broken("the opening row is missing or not the first", number)
        if number == 2:
            self._replay = self._opened(cells)
            self._utc_s = _seconds(cells["time"])
        elif cells["kind"] == "closed":
            self._close(number, cells)
            self._ended_s = _seconds(cells["time"])
        else:
            assert self._replay is not None
            self._replay.row(number, cells)
        self._clock.row(number, _seconds(cells["time"]))

    def _opened(self, cells: Mapping[str, str]) -> "Replay":
        sidecar = self._parts.sidecar
        if sidecar is None:
            raise Broken("its sidecar is missing: keep the two files together", 2)
        if cells["text"] != "sidecar=" + hashlib.sha256(sidecar).hexdigest():
            raise Broken("its sidecar was changed", 2)
        schema = self._chain.schema
        try:
            document = parse_sidecar(sidecar)
            self.promised = str(document.get("warmwatch:checkpoints", ""))
            self._called = str(document.get("url", self._called))
            if described_columns(document) != schema.columns:
                raise Broken("its sidecar describes other columns", 2)
            return Replay(document, schema)
        except NewerFormat:
            return Replay({"warmwatch:versions": {"warmwatch": "a newer version"}}, schema)
        except (RecordingError, ValueError) as error:
            raise Broken(str(error), 2) from None

    def _close(self, number: int, cells: Mapping[str, str]) -> None:
        self._closed = cells
        if cells["text"] != f"rows={self._rows - 1}":
            raise Broken("the closing row does not give the number of rows that are there", number)


def _raw_remarks(replay: Replay | None) -> tuple[str, ...]:
    if replay is None or not replay.raw.seen:
        return ()
    raw = replay.raw
    if not raw.ruled:
        return ("its sidecar has no rule by which temperatures could be compared with raw bytes",)
    told = f"{raw.held} of {raw.seen} temperatures are those that their raw bytes give"
    rest = raw.seen - raw.held
    return (f"{told}; NOTHING CONFIRMS THE OTHER {rest}" if rest else told,)


def _seconds(text: str) -> float | None:
    try:
        return utc_seconds(text)
    except ValueError:
        return None


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def verify_bytes(
    name: str,
    data: bytes,
    sidecar: bytes | None,
    signature: bytes | None,
    checkpoint: bytes | None = None,
) -> Report:
    """Verify a recording held in memory."""
    return verify_parts(Parts(name, io.BytesIO(data), sidecar, signature, checkpoint))
