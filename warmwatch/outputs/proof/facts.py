"""What a proof is made of: one recording, verified and folded again."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from warmwatch.core.band import Window
from warmwatch.core.events import Event
from warmwatch.core.job import Job
from warmwatch.core.level.amounts import is_amount, mark_entry
from warmwatch.core.level.check import Check, Outcome, outcome
from warmwatch.core.level.ledger import FluidData
from warmwatch.core.reading import Item, Mark, Reading
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.recording.reader import RowReader
from warmwatch.recording.rows import cells_item
from warmwatch.recording.seal.report import Report, SealState
from warmwatch.recording.seal.verify import verify_recording
from warmwatch.recording.sidecar import read_sidecar, sidecar_job, sidecar_watch


@dataclass(frozen=True, slots=True)
class Told:
    """A mark with the last believed fluid temperature, None while it was not known."""

    mark: Mark
    fluid_c: float | None


@dataclass(frozen=True, slots=True)
class RawReading:
    """A reading with its bytes as hex."""

    elapsed_s: float
    fluid_c: float | None
    raw: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything that a proof says; times in elapsed seconds."""

    path: Path
    job: Job
    link: Mapping[str, Any]
    versions: Mapping[str, Any]
    report: Report
    start_s: float
    start_utc_s: float | None
    end_s: float
    readings: int
    doubtful: int
    gaps: int
    windows: tuple[Window, ...]
    drain_windows: tuple[Window, ...]
    checks: tuple[Check, ...]
    told: tuple[Told, ...]
    events: tuple[Event, ...]
    fluid: FluidData
    edges: tuple[RawReading, ...]
    fluid_later: bool = False
    """Whether the amounts come from a job file given now, and not from the recording."""

    @property
    def unread(self) -> tuple[Told, ...]:
        """The marks that belong into the ledger, but from which no amount could be read."""
        if self.fluid_later or self.job.fluid.ledger:
            return ()
        marks = (one for one in self.told if is_amount(one.mark))
        unit = self.job.unit
        return tuple(one for one in marks if mark_entry(one.mark, one.fluid_c, unit) is None)

    @property
    def check(self) -> Check | None:
        """The last check: that is the one that counts."""
        return self.checks[-1] if self.checks else None

    @property
    def outcome(self) -> Outcome:
        """What the recording shows about the level."""
        return outcome(self.check, self.job.band)


def gather(path: Path, later: FluidData | None = None) -> Facts:
    """Return the facts of a recording; RecordingError when it was changed.

    `later` is the fluid section of a job file given now; it takes the place of the one in the
    recording, since amounts are often known only afterwards.
    """
    report = verify_recording(path)
    if report.state is SealState.CHANGED:
        at = "" if report.row is None else f" at row {report.row}"
        raise RecordingError(
            f"No proof is made of {path.name}: it was changed{at} ({report.reason})."
        )
    sidecar = read_sidecar(path)
    job = sidecar_job(sidecar)
    fold = _Fold(sidecar_watch(sidecar))
    for item in read_items(path):
        fold.step(item)
    snapshot = fold.watch.snapshot()
    open_windows = (snapshot.window,) if snapshot.window is not None else ()
    windows = (*snapshot.windows, *open_windows)
    return Facts(
        path=path,
        job=job,
        link=_mapping(sidecar.get("warmwatch:link")),
        versions=_mapping(sidecar.get("warmwatch:versions")),
        report=report,
        start_s=fold.start_s or 0.0,
        start_utc_s=fold.start_utc_s,
        end_s=snapshot.elapsed_s,
        readings=snapshot.readings,
        doubtful=snapshot.doubtful,
        gaps=snapshot.gaps,
        windows=windows,
        drain_windows=snapshot.drain_windows,
        checks=fold.watch.checks,
        told=tuple(fold.told),
        events=tuple(fold.events),
        fluid=_with_marks(job.fluid if later is None else later, fold.told, job.unit),
        edges=tuple(_edges(path, windows)),
        fluid_later=later is not None,
    )


class _Fold:
    def __init__(self, watch: Watch) -> None:
        self.watch = watch
        self.start_s: float | None = None
        self.start_utc_s: float | None = None
        self.told: list[Told] = []
        self.events: list[Event] = []

    def step(self, item: Item) -> None:
        if self.start_s is None:
            self.start_s, self.start_utc_s = item.elapsed_s, item.utc_s
        self.events += [r for r in self.watch.step(item) if isinstance(r, Event)]
        if isinstance(item, Mark):
            known_c = None if self.watch.blind else self.watch.snapshot().fluid_c
            self.told.append(Told(item, known_c))


def read_items(path: Path) -> Iterator[Item]:
    """Yield the items of a recording; RecordingError names the row that cannot be read."""
    for row in RowReader(path):
        try:
            item = cells_item(row.cells)
        except ValueError as error:
            raise RecordingError(
                f"Row {row.number} of {path.name} cannot be read ({error}): it was changed."
            ) from None
        if item is not None:
            yield item


def _with_marks(fluid: FluidData, told: list[Told], unit: str) -> FluidData:
    """Add the amounts that stand in marks, unless the job's own ledger has any."""
    if fluid.ledger:
        return fluid
    entries = (mark_entry(one.mark, one.fluid_c, unit) for one in told)
    return replace(fluid, ledger=tuple(entry for entry in entries if entry is not None))


def _edges(path: Path, windows: tuple[Window, ...]) -> Iterator[RawReading]:
    """Yield the readings at which windows were entered and left."""
    wanted = {w.entered_crossed_s for w in windows} | {w.left_crossed_s for w in windows}
    for item in read_items(path):
        if isinstance(item, Reading) and item.elapsed_s in wanted:
            yield RawReading(item.elapsed_s, item.values.get("fluid_c"), item.raw)


def _mapping(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}
