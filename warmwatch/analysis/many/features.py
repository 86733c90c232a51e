"""One recording file turned into the features that are compared; runs in any process."""

import hashlib
import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from warmwatch._version import __version__
from warmwatch.analysis.methods.run import (
    RunFeatures,
    features_from_mapping,
)
from warmwatch.analysis.methods.trace import Trace
from warmwatch.core.job import Job
from warmwatch.core.reason import Reason
from warmwatch.errors import RecordingError
from warmwatch.recording.fold import code_digest
from warmwatch.recording.reader import RowReader
from warmwatch.recording.rows import Chain

SIDECAR_WORD = "sidecar="


@dataclass(frozen=True, slots=True)
class Extract:
    """What was found in a file: the features or the trouble that leaves it out, and notes.

    `sidecar_digest` is what the first row says the sidecar's SHA-256 must be, empty if it says
    nothing. `changed` says that the file was another while it was read: not to be kept.
    `readings` is a SHA-256 over the readings alone, without wall time: the same for a recording, a
    replay of it that was recorded again, and a simulation run twice.
    """

    features: RunFeatures | None
    trouble: str
    notes: tuple[str, ...]
    sidecar_digest: str
    changed: bool = False
    readings: str = ""


def file_digest(path: Path) -> str:
    """Return the SHA-256 of a file's bytes; RecordingError when it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise RecordingError(f"Cannot read {path} ({error.strerror or error}).") from None


def features_key(digest: str, job: Job) -> str:
    """Return the key of a recording's features: its content, what it is judged by, and our code.

    Labels and the like do not matter; other code, which may draw windows otherwise, works the
    features out again.
    """
    judged = (
        (job.band.low_c, job.band.high_c, job.deadband_c, job.confirm_s),
        (job.blind_limit_s, job.hold_limit_s, job.rest_s),
    )
    text = json.dumps([digest, judged, code_digest(__name__), __version__])
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def extract(path: Path, job: Job, digest: str) -> Extract:
    """Return the features of a recording, judged by the band and the limits of `job`.

    What is wrong with the file becomes the trouble; nothing is raised for a bad file. `digest` is
    the file's content as it was when the recordings were gathered.
    """
    found = _extract(path, job)
    try:
        changed = file_digest(path) != digest
    except RecordingError:
        changed = True
    return replace(found, changed=changed)


def _extract(path: Path, job: Job) -> Extract:
    reader, trace, sidecar_digest = RowReader(path), Trace(job), ""
    chain: Chain | None = None
    changed_row = row_number = 0
    readings = hashlib.sha256()
    try:
        for row in reader:
            row_number = row.number
            chain = chain or Chain(reader.schema)
            if not chain.check(row.line):
                changed_row = changed_row or row_number
            kind = row.kind
            if kind == "reading":
                readings.update(_timeless(row.line))
            item = row.item
            if item is not None:
                trace.step(item)
            elif kind == "opened" and row.cells["text"].startswith(SIDECAR_WORD):
                sidecar_digest = row.cells["text"].removeprefix(SIDECAR_WORD)
    except RecordingError as error:
        return Extract(None, str(error), (), sidecar_digest)
    except (ValueError, TypeError, OverflowError, RecursionError) as error:
        trouble = f"row {row_number} cannot be read ({error})"
        return Extract(None, trouble, (), sidecar_digest)
    features = trace.features()
    trouble = "no-good-reading" if features is None else features.doubt
    notes = _notes(reader, changed_row)
    return Extract(features, trouble, notes, sidecar_digest, readings=readings.hexdigest())


def _timeless(line: str) -> bytes:
    """Return a row's line without its wall time, the first cell, and its digest, the last."""
    return line.partition(",")[2].rpartition(",")[0].encode("utf-8") + b"\n"


def _notes(reader: RowReader, changed_row: int) -> tuple[str, ...]:
    notes = []
    if changed_row:
        notes.append(str(Reason("changed", {"row": changed_row})))
    if reader.torn:
        notes.append(f"its end is missing: {reader.torn}; used as far as it goes")
    elif not reader.closed:
        notes.append("never-closed")
    return tuple(notes)


def extract_to_text(found: Extract) -> str:
    """Return an extract as JSON; `extract_from_text` reads it back, to the last digit."""
    return json.dumps(asdict(found), separators=(",", ":"), default=list)  # a curve is no list


def extract_from_text(text: str) -> Extract:
    """Return the extract that `extract_to_text` gave; ValueError when the text holds none."""
    try:
        mapping = json.loads(text)
        features = mapping["features"]
        return Extract(
            None if features is None else features_from_mapping(features),
            mapping["trouble"],
            tuple(mapping["notes"]),
            mapping["sidecar_digest"],
            mapping["changed"],
            mapping["readings"],
        )
    except (KeyError, TypeError, AttributeError) as error:
        raise ValueError(f"no features: {error}") from None
