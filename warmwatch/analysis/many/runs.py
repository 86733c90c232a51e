"""Loads the runs to compare, and says of every recording whether it was used, or why not."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fnmatch import fnmatch
from pathlib import Path

from warmwatch.analysis.many.cache import FeatureCache
from warmwatch.analysis.many.features import (
    Extract,
    extract,
    extract_from_text,
    extract_to_text,
    features_key,
    file_digest,
)
from warmwatch.analysis.many.frames import Note, find_recordings
from warmwatch.analysis.many.spread import Here, Spread
from warmwatch.analysis.methods.figures import Run
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.errors import RecordingError
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.sidecar import read_sidecar, sidecar_job

TOGETHER = 200
"""So many texts of the cache are in memory at once."""


@dataclass(frozen=True, slots=True)
class Loaded:
    """The runs to compare, the band they are judged by, and all that is to be told.

    `found` counts the recordings in the folders, `kept` those whose features came from the cache.
    `invented` holds what recordings that were not measured say of themselves.
    """

    runs: tuple[Run, ...]
    band: Band | None
    notes: tuple[Note, ...]
    found: int
    kept: int = 0
    invented: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Opened:
    path: Path
    name: str
    job: Job
    sidecar_digest: str
    invented: str
    digest: str = ""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which recordings, and what they are judged by.

    Without `band` it is the one that most recordings were made for. `labels` are (file name
    pattern, method) pairs that go before the label in the recording; the first match counts.
    """

    band: Band | None = None
    vehicle: str | None = None
    labels: Sequence[tuple[str, str]] = ()


def load_runs(
    paths: Iterable[Path],
    wanted: Wanted = Wanted(),
    *,
    cache: FeatureCache | None = None,
    spread: Spread | None = None,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Loaded:
    """Load the features of all recordings under `paths`; no bad file ends it.

    `progress` is told how many of the recordings that are worked out again are done.
    """
    cache, spread = cache or FeatureCache(None), spread or Here()
    files, notes = find_recordings(paths)
    opened = [one for path, name in files.items() if (one := _open(path, name, notes))]
    opened = _of_vehicle(opened, wanted.vehicle, notes)
    opened = _without_twins(_digested(opened, spread, notes), notes)
    if not opened:
        return Loaded((), wanted.band, tuple(notes), len(files))
    band = wanted.band or _commonest(opened)
    extracts, kept = _extract_all(opened, band, cache, spread, progress)
    pairs = _without_replays(zip(opened, extracts, strict=True), notes)
    runs = [
        run for one, found in pairs if (run := _run(one, found, wanted.labels, notes)) is not None
    ]
    for pattern, method in wanted.labels:
        if not any(_matches(one.name, pattern) for one in opened):
            about = {"label": f"{pattern}={method}"}
            notes.append(Note(pattern, "fits-none", used=True, about=about))
    if cache.trouble:
        notes.append(Note("cache", cache.trouble, used=True))
    used = {run.name for run in runs}
    invented = _invented([one for one in opened if one.name in used])
    return Loaded(tuple(runs), band, tuple(notes), len(files), kept, invented)


def _invented(used: Sequence[_Opened]) -> tuple[str, ...]:
    """Return what recordings that were not measured say of themselves, and how many say it."""
    lines = []
    for text, count in Counter(one.invented for one in used if one.invented).items():
        text = text if count == 1 else text.replace("this recording", "these recordings")
        lines.append(text if count == len(used) else f"{count} of {len(used)} recordings: {text}")
    return tuple(lines)


def _open(path: Path, name: str, notes: list[Note]) -> _Opened | None:
    try:
        document = read_sidecar(path)
        link = document.get("warmwatch:link")
        invented = str(link.get("invented", "")) if isinstance(link, dict) else ""
        job, digest = sidecar_job(document), file_digest(sidecar_path(path))
        return _Opened(path, name, job, digest, invented)
    except RecordingError as error:
        notes.append(Note(name, str(error), used=False))
        return None


def _of_vehicle(opened: list[_Opened], vehicle: str | None, notes: list[Note]) -> list[_Opened]:
    if vehicle is None:
        return opened
    for one in opened:
        if one.job.vehicle != vehicle:
            other = one.job.vehicle
            why = "other-vehicle" if other else "other-vehicle-unlabelled"
            notes.append(Note(one.name, why, used=False, about={"label": other}))
    return [one for one in opened if one.job.vehicle == vehicle]


def _digested(opened: list[_Opened], spread: Spread, notes: list[Note]) -> list[_Opened]:
    found = []
    digests = spread.hashed(try_digest, [str(one.path.absolute()) for one in opened])
    for one, (digest, trouble) in zip(opened, digests, strict=True):
        if trouble:
            notes.append(Note(one.name, trouble, used=False))
        else:
            found.append(replace(one, digest=digest))
    return found


def try_digest(path: str) -> tuple[str, str]:
    """Return a file's digest and no trouble, or no digest and the trouble."""
    try:
        return file_digest(Path(path)), ""
    except RecordingError as error:
        return "", str(error)


def _without_twins(opened: list[_Opened], notes: list[Note]) -> list[_Opened]:
    first: dict[str, _Opened] = {}
    for one in opened:
        twin = first.setdefault(one.digest, one)
        if twin is not one:
            why = "twin" if one.job == twin.job else "twin-other-sidecar"
            notes.append(Note(one.name, why, used=False, about={"twin": twin.name}))
    return list(first.values())


def _without_replays(
    pairs: Iterable[tuple[_Opened, Extract]], notes: list[Note]
) -> list[tuple[_Opened, Extract]]:
    """Leave out what holds the readings of another, whatever its name, labels or wall time."""
    first: dict[str, _Opened] = {}
    kept = []
    for one, found in pairs:
        twin = one if found.features is None else first.setdefault(found.readings, one)
        if twin is one:
            kept.append((one, found))
            continue
        same = (one.job.vehicle, one.job.method) == (twin.job.vehicle, twin.job.method)
        why = "replay" if same else "replay-other-labels"
        notes.append(Note(one.name, why, used=False, about={"twin": twin.name}))
    return kept


def _commonest(opened: Sequence[_Opened]) -> Band:
    counts = Counter(one.job.band for one in opened)
    return max(counts, key=lambda band: (counts[band], -band.low_c, -band.high_c))


def _extract_all(
    opened: Sequence[_Opened],
    band: Band,
    cache: FeatureCache,
    spread: Spread,
    progress: Callable[[int, int], None],
) -> tuple[list[Extract], int]:
    jobs = [replace(one.job, band=band) for one in opened]
    keys = [features_key(one.digest, job) for one, job in zip(opened, jobs, strict=True)]
    known: dict[str, Extract] = {}
    for start in range(0, len(keys), TOGETHER):
        for key, text in cache.get(keys[start : start + TOGETHER]).items():
            try:
                known[key] = extract_from_text(text)
            except ValueError:
                continue  # worked out again below, and written over
    kept = len(known)
    missing = [i for i, key in enumerate(keys) if key not in known]
    tasks = [(str(opened[i].path.absolute()), opened[i].digest, jobs[i]) for i in missing]
    fresh: dict[str, str] = {}
    for i, text in zip(missing, spread.worked(extract_text, tasks), strict=True):
        known[keys[i]] = extract_from_text(text)
        progress(len(known) - kept, len(missing))
        if not known[keys[i]].changed:
            fresh[keys[i]] = text
        if len(fresh) == TOGETHER:
            cache.put(fresh)
            fresh.clear()
    cache.put(fresh)
    return [known[key] for key in keys], kept


def extract_text(task: tuple[str, str, Job]) -> str:
    """Return the features of a recording (path, digest, job) as text; runs in any process."""
    path, digest, job = task
    return extract_to_text(extract(Path(path), job, digest))


def _run(
    one: _Opened, found: Extract, labels: Sequence[tuple[str, str]], notes: list[Note]
) -> Run | None:
    used = not found.trouble and found.features is not None
    for text in (found.trouble, *found.notes):
        if text:
            notes.append(Note(one.name, text, used))
    if found.features is None or found.trouble:
        return None
    if found.sidecar_digest and found.sidecar_digest != one.sidecar_digest:
        notes.append(Note(one.name, "other-sidecar", used=True))
    given = (method for pattern, method in labels if _matches(one.name, pattern))
    method = next(given, one.job.method)
    return Run(one.name, one.digest, one.job.vehicle, method, one.job.band, found.features)


def _matches(name: str, pattern: str) -> bool:
    return fnmatch(name, pattern) or fnmatch(Path(name).name, pattern)
