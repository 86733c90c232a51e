"""What earlier recordings teach the forecast: read from recordings, kept in a small JSON file."""

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from warmwatch.analysis.many.frames import Note, find_recordings
from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.forecast.prior import Point, Prior, spent, teaches
from warmwatch.core.job import Job
from warmwatch.core.phase import PhaseTracker
from warmwatch.core.reading import Reading
from warmwatch.core.trust import Trust
from warmwatch.core.units import plausible
from warmwatch.errors import RecordingError, UsageError
from warmwatch.recording.reader import RowReader
from warmwatch.recording.sidecar import read_sidecar, sidecar_job

MOST_BYTES = 1 << 20
"""No file of ours that holds what was learned comes near this."""


@dataclass(frozen=True, slots=True)
class Learned:
    """A prior, how many recordings were found and tried, and what is to be told of them.

    `made_here` is false for a prior that was read from a file: nobody knows of which vehicle it is.
    `unit` is the one that all recordings were shown in, "C" where they differ.
    """

    prior: Prior
    found: int
    notes: tuple[Note, ...] = ()
    made_here: bool = True
    vehicles: tuple[str, ...] = ()
    methods: tuple[str, ...] = ()
    unit: str = "C"


def learn_from(paths: Iterable[Path], *, vehicle: str = "", method: str = "") -> Learned:
    """Learn from all recordings under `paths`, only those with the labels that are given.

    A bad recording is told and left out. Raises UsageError for a path that is not there.
    """
    files, notes = find_recordings(paths)
    notes = [note for note in notes if note.name.endswith(".csv")]
    runs, vehicles, methods = [], dict[str, str](), dict[str, str]()
    units: list[str] = []
    first: dict[str, str] = {}
    for path, name in files.items():
        try:
            job = sidecar_job(read_sidecar(path))
            why, label = _other(job, vehicle, method)
            points = [] if why else longest_piece(path, job)
        except (RecordingError, ValueError, TypeError, ArithmeticError, RecursionError) as error:
            why, label, points = str(error), "", []
        twin = first.setdefault(_digest(points), name)
        why = why or _no_lesson(points) or ("" if twin == name else "same-warm-up")
        if why:
            notes.append(Note(name, why, used=False, about={"twin": twin, "label": label}))
        else:
            runs.append(points)
            units.append(job.unit)
            vehicles[_same(job.vehicle)] = job.vehicle
            methods[_same(job.method)] = job.method
    prior = _as_kept(learn(runs))
    named = tuple(vehicles.values()), tuple(methods.values())
    unit = "F" if set(units) == {"F"} else "C"
    return Learned(prior, len(files), tuple(notes), True, *named, unit)


def learn(runs: Iterable[Sequence[Point]]) -> Prior:
    """Return what recordings of one vehicle teach; each is its good readings in order.

    Runs in which the fluid hardly moves teach nothing. Without any run the prior is empty and
    changes no forecast.
    """
    prior = Prior((), (), 0, {})
    told = [points for points in runs if teaches(points)]
    for i, points in enumerate(told, 1):
        forecaster = Forecaster(prior)
        for point in points:
            forecaster.update(
                point.elapsed_s,
                point.fluid_c,
                phase=point.phase,
                coolant_c=point.coolant_c,
                ambient_c=point.ambient_c,
                engine_rpm=point.engine_rpm,
                speed_kmh=point.speed_kmh,
            )
        prior = forecaster.learned(i, spent(told[:i]))
    return prior


def _digest(points: Sequence[Point]) -> str:
    return hashlib.sha256(repr(points).encode("utf-8")).hexdigest()


def _no_lesson(points: Sequence[Point]) -> str:
    """Return why a run teaches nothing; empty text when it does."""
    return "" if teaches(points) else "moves-too-little"


def _as_kept(prior: Prior) -> Prior:
    """Return a prior as a file or a sidecar keeps it, so that a replay has the same to the digit.

    Raises ValueError when it could not be read back.
    """
    return Prior.from_mapping(prior.to_mapping())


def _other(job: Job, vehicle: str, method: str) -> tuple[str, str]:
    """Return why a recording's labels are not those wanted, and its own; empty when they are."""
    for name, label, wanted in (("vehicle", job.vehicle, vehicle), ("method", job.method, method)):
        if wanted and _same(label) != _same(wanted):
            return f"other-{name}{'' if label else '-unlabelled'}", label
    return "", ""


def _same(label: str) -> str:
    return " ".join(label.split()).casefold()


def longest_piece(path: Path, job: Job) -> list[Point]:
    """Return the good readings of the unbroken piece in which the fluid moves most.

    A level passed in a gap has no time, and what came before a gap says nothing after it.
    """
    pieces = list(_pieces(path, job.blind_limit_s))
    return max(pieces, key=_span_c, default=[])


def _span_c(points: Sequence[Point]) -> float:
    levels = [point.fluid_c for point in points]
    return max(levels) - min(levels)


def _pieces(path: Path, blind_limit_s: float) -> Iterator[list[Point]]:
    trust, phases = Trust(), PhaseTracker(max(5.0, blind_limit_s))
    piece: list[Point] = []
    for row in RowReader(path):
        item = row.item
        if not isinstance(item, Reading):
            continue
        verdict = trust.judge(item)
        values = plausible(item.values)
        phase = phases.step(item.elapsed_s, values)
        if verdict is None or verdict.fluid_c is None:
            continue
        if piece and (verdict.fresh or item.elapsed_s - piece[-1][0] > blind_limit_s):
            yield piece
            piece = []
        beside = (values.get(name) for name in Point._fields[3:])
        piece.append(Point(item.elapsed_s, verdict.fluid_c, phase, *beside))
    if piece:
        yield piece


def prior_text(prior: Prior) -> str:
    """Return the file that keeps a prior."""
    return json.dumps(prior.to_mapping(), indent=1) + "\n"


def read_prior(path: Path) -> Prior:
    """Return the prior that a file keeps; UsageError when it keeps none."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ValueError("it is too long")
        return Prior.from_mapping(json.loads(path.read_bytes().decode("utf-8")))
    except OSError as error:
        why = error.strerror or str(error)
    except (ValueError, OverflowError, RecursionError) as error:
        why = str(error)
    raise UsageError(f"{path} holds no learned warm-ups ({why}): make it with warmwatch learn.")


def load_prior(path: Path, *, vehicle: str = "") -> Learned:
    """Return what a file keeps, or what the recordings at `path` teach about `vehicle`."""
    if path.is_dir() or path.suffix.lower() == ".csv":
        return learn_from([path], vehicle=vehicle)
    if not path.exists():
        raise UsageError(f"There is no {path}: check the name.")
    prior = read_prior(path)
    return Learned(prior, prior.runs, made_here=False)
