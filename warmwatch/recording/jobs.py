"""Lists the recordings of a folder without reading them whole.

The outcome stands in the closing row and the rest in the sidecar and the opening row, so a few
kilobytes of each file are enough. Nothing is verified here: `verify` does that.
"""

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from warmwatch.core.level.check import Outcome
from warmwatch.errors import RecordingError, UsageError
from warmwatch.recording.reader import is_recording
from warmwatch.recording.rows import HEADER, split_line
from warmwatch.recording.sidecar import read_sidecar, sidecar_job

END_BYTES = 2048


@dataclass(frozen=True, slots=True)
class Listed:
    """One recording: `outcome` is empty where it cannot be said, `trouble` then says why."""

    path: Path
    time: str
    vehicle: str = ""
    method: str = ""
    low_c: float | None = None
    high_c: float | None = None
    length_s: float | None = None
    outcome: str = ""
    trouble: str = ""


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
        first, last = _ends(path)
        job = sidecar_job(read_sidecar(path))
    except OSError as error:
        return Listed(path, "", trouble=f"cannot be read ({error.strerror or error})")
    except RecordingError as error:
        return Listed(path, first.get("time", ""), trouble=str(error))
    closed = last if last.get("kind") == "closed" else {}
    outcome = closed.get("name", "") if closed.get("name") in set(Outcome) else ""
    return Listed(
        path=path,
        time=first.get("time", ""),
        vehicle=job.vehicle,
        method=job.method,
        low_c=job.band.low_c,
        high_c=job.band.high_c,
        length_s=_number(closed.get("elapsed_s", "")),
        outcome=outcome,
        trouble="" if closed else "never closed, or torn: see `warmwatch verify`",
    )


def _ends(path: Path) -> tuple[Mapping[str, str], Mapping[str, str]]:
    with path.open("rb") as file:
        file.readline(len(HEADER) + 8)
        first = file.readline(END_BYTES)
        size = file.seek(0, os.SEEK_END)
        file.seek(max(0, size - END_BYTES))
        tail = file.read(END_BYTES)
    lines = list(_lines(tail)) if tail.endswith(b"\r\n") else []
    return _cells(first), _cells(lines[-1]) if lines else {}


def _lines(data: bytes) -> Iterator[bytes]:
    yield from (line for line in data.split(b"\r\n") if line)


def _cells(line: bytes) -> dict[str, str]:
    try:
        return split_line(line.rstrip(b"\r\n").decode("utf-8"))
    except ValueError:
        return {}


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
        "band": None if one.low_c is None else {"low_c": one.low_c, "high_c": one.high_c},
        "length_s": one.length_s,
        "outcome": one.outcome or None,
        "trouble": one.trouble or None,
    }
