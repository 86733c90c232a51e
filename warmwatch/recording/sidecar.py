"""The sidecar: what a recording is about, as W3C "CSV on the Web" metadata.

Written once when the recording is opened and never changed; its digest stands in the recording's
first row, so the digest chain covers it too.
"""

import hashlib
import json
import platform
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

from warmwatch._version import __version__
from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.forecast.prior import Prior
from warmwatch.core.job import Job, job_from_mapping, job_to_mapping
from warmwatch.core.units import QUANTITIES
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.recording.rows import COLUMNS

FORMAT = "warmwatch recording 1"
_MEANINGS = {
    "time": ("datetime", "wall time in UTC"),
    "elapsed_s": ("number", "seconds on a clock that never runs back"),
    "kind": ("string", "reading, mark, tick, event, opened or closed"),
    "name": ("string", "the mark or the event"),
    "other": ("string", "further values by name, a JSON object"),
    "crossed_s": ("number", "for window events: the first reading past the edge"),
    "text": ("string", "note or reason"),
    "doubts": ("string", "what the link doubts and why, a JSON object"),
    "raw": ("string", "the bytes that the fluid temperature was read from, as hex"),
    "digest": ("string", "SHA-256 over the digest of the row before and this row"),
}


def sidecar_path(recording: Path) -> Path:
    """Return the path of a recording's sidecar."""
    return recording.with_name(recording.name + "-metadata.json")


def sidecar_text(
    name: str, job: Job, link: str, about: Mapping[str, object], prior: Prior | None = None
) -> str:
    """Return the sidecar of the recording file `name`.

    `prior` is what the forecaster had learned beforehand: without it the events could not come out
    the same again.
    """
    document: dict[str, Any] = {
        "@context": "http://www.w3.org/ns/csvw",
        "url": name,
        "dialect": {"header": True, "delimiter": ",", "encoding": "utf-8"},
        "tableSchema": {"columns": [_column(column) for column in COLUMNS]},
        "warmwatch:format": FORMAT,
        "warmwatch:job": job_to_mapping(job),
        "warmwatch:link": {"address": link, **about},
        "warmwatch:versions": {
            "warmwatch": __version__,
            "fold": fold_digest(),
            "python": platform.python_version(),
        },
    }
    if prior is not None:
        document["warmwatch:prior"] = prior.to_mapping()
    text = json.dumps(document, indent=1, ensure_ascii=False) + "\n"
    return text.encode("utf-8", "replace").decode("utf-8")  # a file's name may be no UTF-8


@cache
def fold_digest() -> str:
    """Return a digest over the source of the core, the same for everyone who has the same core.

    It tells whether events can be expected to come out the same again; empty where the source is
    not there.
    """
    digest = hashlib.sha256()
    sources = dict(sorted(_sources(files("warmwatch.core"), "")))
    for name, source in sources.items():
        digest.update(name.encode() + b"\0")
        digest.update(source.read_bytes().replace(b"\r\n", b"\n") + b"\0")
    return digest.hexdigest()[:16] if sources else ""


def _sources(folder: Traversable, above: str) -> Iterator[tuple[str, Traversable]]:
    for entry in folder.iterdir():
        if entry.is_dir():
            yield from _sources(entry, f"{above}{entry.name}/")
        elif entry.name.endswith(".py"):
            yield above + entry.name, entry


def _column(name: str) -> dict[str, str]:
    if name in QUANTITIES:
        quantity = QUANTITIES[name]
        return {
            "name": name,
            "titles": name,
            "datatype": "number",
            "dc:description": f"{quantity.meaning}, {quantity.unit}",
        }
    datatype, meaning = _MEANINGS[name]
    return {"name": name, "titles": name, "datatype": datatype, "dc:description": meaning}


def text_digest(text: str) -> str:
    """Return the SHA-256 of a sidecar's text, as the first row keeps it."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def read_sidecar(recording: Path) -> dict[str, Any]:
    """Return the sidecar of a recording; RecordingError when it is missing or broken."""
    return parse_sidecar(sidecar_bytes(recording), sidecar_path(recording).name)


def sidecar_bytes(recording: Path) -> bytes:
    """Return the bytes of a recording's sidecar; RecordingError when it cannot be read."""
    path = sidecar_path(recording)
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise RecordingError(
            f"The sidecar {path.name} is missing: keep it beside the recording."
        ) from None
    except OSError as error:
        raise RecordingError(f"The sidecar {path.name} cannot be read: {error}.") from None


def parse_sidecar(data: bytes, name: str = "The sidecar") -> dict[str, Any]:
    """Return the sidecar held in `data`; RecordingError when it is none."""
    try:
        document = json.loads(data.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise RecordingError(f"{name} cannot be read: {error}.") from None
    if not isinstance(document, dict) or document.get("warmwatch:format") != FORMAT:
        raise RecordingError(f"{name} is not the sidecar of a warmwatch recording.")
    return document


def sidecar_watch(document: Mapping[str, Any]) -> Watch:
    """Return a new Watch as it was when the recording began; RecordingError when it cannot be."""
    job, prior = sidecar_job(document), document.get("warmwatch:prior")
    if prior is None:
        return Watch(job)
    try:
        return Watch(job, Forecaster(Prior.from_mapping(prior)))
    except ValueError as error:
        raise RecordingError(f"The sidecar's forecast prior cannot be used: {error}.") from None


def sidecar_job(document: Mapping[str, Any]) -> Job:
    """Return the job that a sidecar keeps; RecordingError when it cannot be one."""
    try:
        return job_from_mapping(document["warmwatch:job"])
    except (KeyError, ValueError, TypeError, AttributeError) as error:
        raise RecordingError(f"The sidecar's job cannot be used: {error}.") from None
