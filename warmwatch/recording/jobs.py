"""Lists the recordings of a folder without reading them whole.

The outcome stands in the closing row and the rest in the sidecar and the opening row, so a few
kilobytes of each file are enough. That these ends fit together is checked, since it costs next to
nothing; the rows between them are not: `verify` does that.
"""

import hashlib
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from warmwatch.core.band import Band
from warmwatch.core.level.verdict import LevelVerdict
from warmwatch.errors import RecordingError, UsageError
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.reader import is_recording
from warmwatch.recording.rows import Chain, cells_verdict
from warmwatch.recording.schema import MAX_HEADER, Schema, schema_of
from warmwatch.recording.sidecar import parse_sidecar, sidecar_bytes, sidecar_job, sidecar_visit
from warmwatch.recording.zone import ZONELESS, Zone, sidecar_zone

END_BYTES = 2048
DIGEST_DIGITS = 64


@dataclass(frozen=True, slots=True)
class Listed:
    """One recording: `verdict` is None where it cannot be said, `trouble` then says why.

    `trouble` is "never-closed", "changed", or the sentence of an error. `undated`: what was
    replayed into it had no date, so `time` is only when it was written.
    """

    path: Path
    time: str
    vehicle: str = ""
    method: str = ""
    band: Band | None = None
    unit: str = "C"
    visit: str = ""
    zone: Zone = ZONELESS
    length_s: float | None = None
    verdict: LevelVerdict | None = None
    trouble: str = ""
    undated: bool = False

    @property
    def outcome(self) -> str:
        """The outcome's word; empty where it cannot be said."""
        return "" if self.verdict is None else str(self.verdict.outcome)


def list_recordings(folder: Path) -> list[Listed]:
    """Return the recordings in `folder`, newest first; UsageError when it cannot be read.

    Files that are no recordings are left out.
    """
    try:
        with os.scandir(folder) as entries:
            names = [entry.name for entry in entries if entry.name.endswith(".csv")]
    except OSError as error:
        raise UsageError(f"Cannot read the folder {folder} ({error.strerror or error}).") from None
    found = (listed(folder / name) for name in names if is_recording(folder / name))
    return sorted(found, key=lambda one: (one.time, one.path.name), reverse=True)


def listed(path: Path) -> Listed:
    """Return one recording's line."""
    try:
        ends = _ends(path)
        sidecar = sidecar_bytes(path)
        document = parse_sidecar(sidecar, sidecar_path(path).name)
        job = sidecar_job(document)
    except OSError as error:
        return Listed(path, "", trouble=f"cannot be read ({error.strerror or error})")
    except RecordingError as error:
        return Listed(path, ends.first.get("time", ""), trouble=str(error))
    first, last = ends.first, ends.last
    closed = last if last.get("kind") == "closed" else {}
    trouble = "" if closed else "never-closed"
    own = "sidecar=" + hashlib.sha256(sidecar).hexdigest()
    if not ends.fit or first.get("text", own) != own:
        closed, trouble = {}, "changed"
    return Listed(
        path=path,
        time=first.get("time", ""),
        vehicle=job.vehicle,
        method=job.method,
        band=job.band,
        unit=job.unit,
        visit=sidecar_visit(document),
        zone=sidecar_zone(document),
        length_s=_number(closed.get("elapsed_s", "")),
        verdict=_verdict(closed),
        trouble=trouble,
        undated=bool(closed) and not closed.get("time"),
    )


@dataclass(frozen=True, slots=True)
class _Ends:
    """The opening and the last row, {} where it is not whole; `fit`: their digests may be right."""

    first: Mapping[str, str]
    last: Mapping[str, str]
    fit: bool


def _ends(path: Path) -> _Ends:
    with path.open("rb") as file:
        header = file.readline(MAX_HEADER).rstrip(b"\r\n").decode("utf-8", "replace")
        first = file.readline(END_BYTES)
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - END_BYTES))
        tail = file.read(END_BYTES)
    lines = tail.split(b"\r\n")[-3:-1] if tail.endswith(b"\r\n") else []
    schema = schema_of(header.removeprefix("\ufeff"))
    if schema is None or not first.endswith(b"\r\n"):
        return _Ends({}, {}, fit=True)
    opening = first[:-2]
    fit = _follows(Chain(schema).digest.encode("ascii"), opening)
    if len(lines) == 2 and lines[1] != opening:
        fit = fit and _follows(lines[0][-DIGEST_DIGITS:], lines[1])
    return _Ends(_cells(schema, opening), _cells(schema, lines[-1]) if lines else {}, fit)


def _follows(digest: bytes, line: bytes) -> bool:
    """Return whether a row's digest is the one after `digest`."""
    body, _, own = line.rpartition(b",")
    return hashlib.sha256(digest + body).hexdigest().encode("ascii") == own


def _cells(schema: Schema, line: bytes) -> dict[str, str]:
    try:
        return schema.split(line.decode("utf-8"))
    except ValueError:
        return {}


def _verdict(closed: Mapping[str, str]) -> LevelVerdict | None:
    try:
        return cells_verdict(closed) if closed else None
    except ValueError:
        return None


def visits(found: Sequence[Listed]) -> list[list[Listed]]:
    """Return the recordings by visit, each visit's oldest first, in the order of their latest."""
    groups: dict[str, list[Listed]] = {}
    for one in found:
        groups.setdefault(one.visit or f"file {one.path.name}", []).append(one)
    return [group[::-1] for group in groups.values()]


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def listed_object(one: Listed) -> dict[str, Any]:
    """Return one line as a JSON object."""
    return {
        "file": str(one.path),
        "time": one.time or None,
        "vehicle": one.vehicle,
        "method": one.method,
        "band": None if one.band is None else {"low_c": one.band.low_c, "high_c": one.band.high_c},
        "visit": one.visit or None,
        "length_s": one.length_s,
        "outcome": one.outcome or None,
        "sign": None if one.verdict is None else str(one.verdict.sign),
        "trouble": one.trouble or None,
    }
