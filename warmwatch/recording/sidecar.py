"""The sidecar: what a recording is about, as W3C "CSV on the Web" metadata.

Written once when the recording is opened and never changed; its digest stands in the recording's
first row, so the digest chain covers it too.
"""

import json
import platform
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from types import MappingProxyType
from typing import Any

from warmwatch._version import __version__
from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.forecast.prior import Prior
from warmwatch.core.job import Job, job_from_mapping, job_to_mapping
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.recording.fold import fold_digest
from warmwatch.recording.names import sidecar_path, text_digest
from warmwatch.recording.privacy import shared_facts
from warmwatch.recording.schema import FORMAT, FORMATS, current_schema, described
from warmwatch.recording.zone import KEY as ZONE
from warmwatch.recording.zone import Zone, zone_to_mapping

NOWHERE: Mapping[str, str] = MappingProxyType({})


class NewerFormat(RecordingError):
    """A recording that only a later version can read."""


def sidecar_document(
    job: Job,
    link: str,
    about: Mapping[str, object],
    prior: Prior | None = None,
    *,
    visit: str = "",
    origins: Mapping[str, str] = NOWHERE,
    zone: Zone | None = None,
) -> dict[str, Any]:
    """Return the sidecar of a recording whose name, `url`, is not known yet.

    `prior` is what the forecaster had learned beforehand: without it the events could not come out
    the same again. Recordings of one visit share `visit`. `origins` says of the job's values, by
    their names in a job file, where each was taken from ("option", "job file", "book"). `zone` is
    that of the computer's clock.
    """
    document: dict[str, Any] = {
        "@context": "http://www.w3.org/ns/csvw",
        "url": "",
        "dialect": {"header": True, "delimiter": ",", "encoding": "utf-8"},
        "tableSchema": {"columns": described(current_schema())},
        "warmwatch:format": FORMAT,
        "warmwatch:job": job_to_mapping(job),
        "warmwatch:link": shared_facts({"address": link, **about}),
        "warmwatch:versions": {
            "warmwatch": __version__,
            "fold": fold_digest(),
            "python": platform.python_version(),
        },
    }
    if visit:
        document["warmwatch:visit"] = visit
    if zone is not None:
        document[ZONE] = zone_to_mapping(zone)
    if origins:
        document["warmwatch:origins"] = dict(origins)
    if prior is not None:
        document["warmwatch:prior"] = prior.to_mapping()
    return document


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
    if not isinstance(document, dict) or not _is_ours(document.get("warmwatch:format")):
        raise RecordingError(f"{name} is not the sidecar of a warmwatch recording.")
    if document["warmwatch:format"] not in FORMATS:
        raise NewerFormat(f"{name} was made by a newer warmwatch: install that to read it.")
    return document


def _is_ours(text: object) -> bool:
    return isinstance(text, str) and text.startswith(FORMAT.rstrip("0123456789"))


def new_visit(utc_s: float, vehicle: str) -> str:
    """Return the id of a visit that begins now: its day, and letters that hardly another has.

    >>> new_visit(1_780_000_000.0, "blue van")
    '2026-05-28-9ec155'
    """
    letters = text_digest(ascii(f"{utc_s!r} {vehicle}"))[:6]
    return f"{datetime.fromtimestamp(utc_s, tz=UTC):%Y-%m-%d}-{letters}"


def sidecar_visit(document: Mapping[str, Any]) -> str:
    """Return the id that the recordings of one visit share; empty where there is none."""
    visit = document.get("warmwatch:visit")
    return visit if isinstance(visit, str) else ""


def sidecar_origins(document: Mapping[str, Any]) -> Mapping[str, str]:
    """Return where each value of the job was taken from, as far as it was kept."""
    origins = document.get("warmwatch:origins")
    return origins if isinstance(origins, dict) else NOWHERE


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
