"""What a proof is made of: the recordings of one visit, verified and folded again."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from warmwatch.core.band import Window
from warmwatch.core.job import Job
from warmwatch.core.level.check import Check
from warmwatch.core.level.marks import taken_back
from warmwatch.core.level.verdict import LevelVerdict
from warmwatch.core.reading import Item, Mark, Reading
from warmwatch.core.reason import Reason
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.outputs.picture.trace import Trace, TraceBuilder
from warmwatch.recording.reader import RowReader
from warmwatch.recording.seal.report import Report, SealState
from warmwatch.recording.seal.verify import verify_recording
from warmwatch.recording.sidecar import read_sidecar, sidecar_job, sidecar_visit, sidecar_watch
from warmwatch.recording.zone import Zone, sidecar_zone


@dataclass(frozen=True, slots=True)
class ToldMark:
    """A mark with the last believed fluid temperature, None while it was not known.

    `withdrawn`: a later mark took it back.
    """

    mark: Mark
    fluid_c: float | None
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class RawReading:
    """A reading with its bytes as hex."""

    elapsed_s: float
    fluid_c: float | None
    raw: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything that a proof says of one recording; times in elapsed seconds."""

    path: Path
    job: Job
    link: Mapping[str, Any]
    versions: Mapping[str, Any]
    visit: str
    zone: Zone
    report: Report
    end_s: float
    readings: int
    doubtful: int
    gaps: int
    windows: tuple[Window, ...]
    drain_windows: tuple[Window, ...]
    checks: tuple[Check, ...]
    verdict: LevelVerdict
    told: tuple[ToldMark, ...]
    trace: Trace
    edges: tuple[RawReading, ...]
    clock_moves: tuple[tuple[float, Reason], ...] = ()

    def wall_s(self, elapsed_s: float) -> float | None:
        """Return the wall time of an elapsed time, counted from the first reading."""
        began = self.trace
        return None if began.utc_s is None else began.utc_s + elapsed_s - began.start_s


def facts_of(path: Path) -> Facts:
    """Return the facts of a recording; RecordingError when it was changed."""
    report = verify_recording(path)
    if report.state is SealState.CHANGED:
        at = "" if report.row is None else f" at row {report.row}"
        raise RecordingError(
            f"No proof is made of {path.name}: it was changed{at} ({report.reason})."
        )
    sidecar = read_sidecar(path)
    job = sidecar_job(sidecar)
    watch = sidecar_watch(sidecar)
    fold = _Fold(watch)
    for item in read_items(path):
        fold.step(item)
    snapshot, trace = watch.snapshot(), fold.seen.finish()
    open_windows = (snapshot.window,) if snapshot.window is not None else ()
    windows = (*snapshot.windows, *open_windows)
    return Facts(
        path=path,
        job=job,
        link=_mapping(sidecar.get("warmwatch:link")),
        versions=_mapping(sidecar.get("warmwatch:versions")),
        visit=sidecar_visit(sidecar),
        zone=sidecar_zone(sidecar),
        report=report,
        end_s=snapshot.elapsed_s,
        readings=snapshot.readings,
        doubtful=snapshot.doubtful,
        gaps=snapshot.gaps,
        windows=windows,
        drain_windows=snapshot.drain_windows,
        checks=watch.checks,
        verdict=watch.verdict,
        told=_with_withdrawn(fold.told),
        trace=trace,
        edges=tuple(_edges(path, windows)),
        clock_moves=tuple(fold.clock_moves),
    )


class _Fold:
    def __init__(self, watch: Watch) -> None:
        self.seen = TraceBuilder(watch)
        self.told: list[ToldMark] = []
        self.clock_moves: list[tuple[float, Reason]] = []

    def step(self, item: Item) -> None:
        self.seen.step(item)
        watch = self.seen.watch
        if isinstance(item, Reading) and "time" in item.doubts:
            self.clock_moves.append((item.elapsed_s, Reason.parse(item.doubts["time"])))
        if isinstance(item, Mark):
            self.told.append(ToldMark(item, None if watch.blind else watch.snapshot().fluid_c))


def _with_withdrawn(told: list[ToldMark]) -> tuple[ToldMark, ...]:
    gone = taken_back([one.mark for one in told])
    return tuple(replace(one, withdrawn=back) for one, back in zip(told, gone, strict=True))


def read_items(path: Path) -> Iterator[Item]:
    """Yield the items of a recording; RecordingError names the row that cannot be read."""
    for row in RowReader(path):
        try:
            item = row.item
        except ValueError as error:
            raise RecordingError(
                f"Row {row.number} of {path.name} cannot be read ({error}): it was changed."
            ) from None
        if item is not None:
            yield item


def _edges(path: Path, windows: tuple[Window, ...]) -> Iterator[RawReading]:
    """Yield the readings at which windows were entered and left."""
    wanted = {w.entered_crossed_s for w in windows} | {w.left_crossed_s for w in windows}
    for item in read_items(path):
        if isinstance(item, Reading) and item.elapsed_s in wanted:
            yield RawReading(item.elapsed_s, item.values.get("fluid_c"), item.raw)


def _mapping(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}
