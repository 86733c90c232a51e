"""What a recording looks like to the watch: everything a picture of it shows, as plain numbers."""

from array import array
from collections.abc import Iterable
from dataclasses import dataclass, field

from warmwatch.core.band import Window
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job
from warmwatch.core.phase import Phase
from warmwatch.core.reading import Item, Mark, Reading
from warmwatch.core.units import implausible
from warmwatch.core.watch import Watch


@dataclass(frozen=True, slots=True)
class GapSpan:
    """A stretch of elapsed time in seconds."""

    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Stay:
    """A stretch of one phase."""

    phase: Phase
    start_s: float
    end_s: float


@dataclass(slots=True)
class Curve:
    """Points of elapsed time in seconds and degC; a NaN temperature breaks the line."""

    elapsed_s: "array[float]" = field(default_factory=lambda: array("d"))
    celsius: "array[float]" = field(default_factory=lambda: array("d"))

    def add(self, elapsed_s: float, celsius: float) -> None:
        """Add a point."""
        self.elapsed_s.append(elapsed_s)
        self.celsius.append(celsius)


@dataclass(slots=True)
class Trace:
    """A folded recording. Times are elapsed seconds, temperatures degC."""

    job: Job
    start_s: float = 0.0
    end_s: float = 0.0
    utc_s: float | None = None
    fluid: Curve = field(default_factory=Curve)
    coolant: Curve = field(default_factory=Curve)
    doubtful: Curve = field(default_factory=Curve)
    windows: list[Window] = field(default_factory=list)
    gaps: list[GapSpan] = field(default_factory=list)
    stays: list[Stay] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    forecasts: list[Forecast] = field(default_factory=list)


def make_trace(job: Job, items: Iterable[Item], watch: Watch | None = None) -> Trace:
    """Fold `items` through a Watch for `job`, as it was done live, and keep what can be seen.

    `watch` is a new one that knows what the one then knew; without it one that knew nothing.
    """
    builder = TraceBuilder(Watch(job) if watch is None else watch)
    for item in items:
        builder.step(item)
    return builder.finish()


class TraceBuilder:
    """Folds items through a watch and keeps what can be seen."""

    def __init__(self, watch: Watch) -> None:
        self.trace = Trace(watch.job)
        self.watch = watch
        self._empty = True
        self._blind_since_s: float | None = None
        self._coolant_s = 0.0

    def step(self, item: Item) -> None:
        trace, watch = self.trace, self.watch
        if self._empty:
            trace.start_s = trace.end_s = item.elapsed_s
            trace.utc_s = item.utc_s
            self._empty = False
        before = watch.snapshot()
        results = watch.step(item)
        now = watch.snapshot()
        trace.end_s = max(trace.end_s, item.elapsed_s)
        for result in results:
            if isinstance(result, Forecast):
                trace.forecasts.append(result)
            else:
                self._event(result, before.last_good_s)
        if now.gaps > before.gaps:  # also where a jump was believed at last, without silence
            trace.fluid.add(item.elapsed_s, float("nan"))
        if isinstance(item, Reading):
            self._reading(item, doubted=now.doubtful > before.doubtful, good_s=now.last_good_s)
            self._stay(item.elapsed_s, now.phase)
        elif isinstance(item, Mark):
            trace.marks.append(item)
        self._keep_window()

    def _reading(self, reading: Reading, *, doubted: bool, good_s: float | None) -> None:
        elapsed_s, trace = reading.elapsed_s, self.trace
        fluid_c = reading.values.get("fluid_c")
        if doubted:
            trace.doubtful.add(elapsed_s, float("nan") if fluid_c is None else fluid_c)
        elif fluid_c is not None and good_s == elapsed_s:
            trace.fluid.add(elapsed_s, fluid_c)
        coolant_c = reading.values.get("coolant_c")
        if (
            coolant_c is None
            or "coolant_c" in reading.doubts
            or implausible("coolant_c", coolant_c)
        ):
            return
        if elapsed_s - self._coolant_s > max(30.0, 2 * trace.job.blind_limit_s):
            trace.coolant.add(elapsed_s, float("nan"))
        self._coolant_s = elapsed_s
        trace.coolant.add(elapsed_s, coolant_c)

    def _stay(self, elapsed_s: float, phase: Phase) -> None:
        stays = self.trace.stays
        if not stays or elapsed_s - stays[-1].end_s > self.trace.job.blind_limit_s:
            stays.append(Stay(phase, elapsed_s, elapsed_s))
            return
        last = stays[-1] = Stay(stays[-1].phase, stays[-1].start_s, elapsed_s)
        if last.phase is not phase:
            stays.append(Stay(phase, elapsed_s, elapsed_s))

    def _event(self, event: Event, last_good_s: float | None) -> None:
        self.trace.events.append(event)
        if event.kind is EventKind.BLIND:
            self._blind_since_s = self.trace.start_s if last_good_s is None else last_good_s
        elif event.kind is EventKind.SEEING and self._blind_since_s is not None:
            self.trace.gaps.append(GapSpan(self._blind_since_s, event.elapsed_s))
            self._blind_since_s = None

    def _keep_window(self) -> None:
        ended = self.watch.windows
        if ended and (not self.trace.windows or self.trace.windows[-1] is not ended[-1]):
            self.trace.windows.append(ended[-1])

    def finish(self) -> Trace:
        """Close what is still open at the end."""
        trace, window = self.trace, self.watch.snapshot().window
        if self._blind_since_s is not None:
            trace.gaps.append(GapSpan(self._blind_since_s, trace.end_s))
        if window is not None:
            trace.windows.append(window)
        return trace
