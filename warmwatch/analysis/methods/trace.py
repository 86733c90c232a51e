"""Folds a recording's readings and marks into the features of its warm-up.

Good readings are averaged over POINT_S, so that fast and slow sampling are treated alike, and
crossings are interpolated between neighbouring points of one unbroken piece, never across a gap.
"""

import math
from dataclasses import dataclass

from warmwatch.analysis.methods.run import Curve, Gap, Holds, PlugOut, RunFeatures, Stage, Stay
from warmwatch.analysis.methods.stages import Point, blocks, climb, join, slope
from warmwatch.core.band import Window
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.phase import Phase
from warmwatch.core.reading import Item, Mark, MarkName, Reading
from warmwatch.core.reason import Reason
from warmwatch.core.units import is_plausible
from warmwatch.core.watch import Watch

POINT_S = 5.0
CURVE_S = 10.0
CLOCKS_AGREE_S = 2.0
PLUG_OUT_S = 120.0
STILL_RISING_C = 0.5
ABSURD_FLUID_C = 150.0
ABSURD_AMBIENT_C = 55.0
"""Hotter than any fluid or any air a vehicle stands in: degF were meant."""
_SLOW = ("ambient_c", "coolant_c")
_HOLDS = (EventKind.HOLD_START, EventKind.HOLD_LIMIT)


@dataclass(slots=True)
class _Tally:
    """Running figures of a slow value."""

    first: float | None = None
    peak: float = -math.inf
    total: float = 0.0
    count: int = 0

    def add(self, value: float) -> None:
        if self.first is None:
            self.first = value
        if value > self.peak:
            self.peak = value
        self.total += value
        self.count += 1


@dataclass(slots=True)
class _Stretch:
    """A phase as long as it lasted."""

    kind: str
    from_s: float
    to_s: float


class Trace:
    """Takes the items of one recording in order; `features` closes it.

    A Watch judges every item, so that trust, gaps, windows and holds are those of the watch itself.
    """

    def __init__(self, job: Job) -> None:
        self._job = job
        self._blind_limit_s = job.blind_limit_s
        self._watch = Watch(job, ahead=False, aloud=False)
        self._slow = {name: _Tally() for name in _SLOW}
        self._points: list[Point] = []
        self._count, self._sum_s, self._sum_c = 0, 0.0, 0.0
        self._bin: int | None = None
        self._piece = 0
        self._lost = False
        self._gaps: list[Gap] = []
        self._why_gap = ""
        self._last: tuple[float, float | None] | None = None
        self._last_c = 0.0
        self._step_c = math.inf
        self._first_s: float | None = None
        self._windows: list[Window] = []
        self._stretches: list[_Stretch] = []
        self._marks: list[Mark] = []
        self._holds_seen: list[Event] = []
        self._good = 0

    def step(self, item: Item) -> None:
        """Take the next item."""
        watch = self._watch
        before, gaps = watch.good, watch.gaps
        for result in watch.step(item):
            if isinstance(result, Event):
                self._event(result)
        self._lost |= watch.gaps != gaps
        windows = watch.windows
        if windows and (not self._windows or windows[-1] is not self._windows[-1]):
            self._windows.append(windows[-1])
        if isinstance(item, Reading):
            if not self._stretches or item.elapsed_s >= self._stretches[-1].to_s:
                self._reading(item, believed=watch.good is not before)
        elif isinstance(item, Mark):
            self._marks.append(item)

    def _event(self, event: Event) -> None:
        if event.kind is EventKind.SEEING:
            self._lost, self._why_gap = True, self._why_gap or "resting"
        elif event.kind is EventKind.BLIND:
            self._why_gap = event.reasons[0].code if event.reasons else "silent"
        elif event.kind in _HOLDS:
            self._holds_seen.append(event)

    def _reading(self, reading: Reading, *, believed: bool) -> None:
        self._stretch(reading.elapsed_s, self._watch.phase)
        values, doubts = reading.values, reading.doubts
        for name, tally in self._slow.items():
            value = values.get(name)
            if value is not None and name not in doubts and is_plausible(name, value):
                tally.add(value)
        if believed and (good := self._watch.good) is not None:
            self._good_reading(reading, good[1])

    def _good_reading(self, reading: Reading, fluid_c: float) -> None:
        now_s = reading.elapsed_s
        self._good += 1
        if self._first_s is None:
            self._first_s = now_s
        if self._lost:
            self._break(reading)
        if fluid_c != self._last_c and self._last is not None:
            step_c = abs(fluid_c - self._last_c)
            if step_c < self._step_c:
                self._step_c = step_c
        self._last, self._last_c, self._why_gap = (now_s, reading.utc_s), fluid_c, ""
        number = int(now_s // POINT_S)
        if number != self._bin:
            self._close_point()
            self._bin = number
        self._count += 1
        self._sum_s += now_s
        self._sum_c += fluid_c

    def _break(self, reading: Reading) -> None:
        """Begin another piece: the watch lost continuity since the last good reading."""
        self._close_point()
        self._piece += 1
        self._lost = False
        if self._last is None:
            return
        last_s, last_utc_s = self._last
        utc_s = None
        if last_utc_s is not None and reading.utc_s is not None:
            utc_s = reading.utc_s - last_utc_s
        silent_s = reading.elapsed_s - last_s
        agrees = utc_s is not None and abs(utc_s - silent_s) <= CLOCKS_AGREE_S
        jumped = not self._why_gap
        why = self._why_gap or "jump"
        self._gaps.append(Gap(last_s, reading.elapsed_s, why, agrees and not jumped))

    def _close_point(self) -> None:
        if count := self._count:
            self._points.append(Point(self._sum_s / count, self._sum_c / count, self._piece))
        self._count, self._sum_s, self._sum_c = 0, 0.0, 0.0
        self._bin = None

    def _stretch(self, now_s: float, phase: Phase) -> None:
        last = self._stretches[-1] if self._stretches else None
        if last is not None and now_s - last.to_s > self._blind_limit_s:
            self._stretches.append(_Stretch("unknown", last.to_s, now_s))
        elif last is not None:
            last.to_s = now_s
            if last.kind == phase:
                return
        self._stretches.append(_Stretch(str(phase), now_s, now_s))

    def features(self) -> RunFeatures | None:
        """Return the features; None when there was no good reading of the fluid."""
        self._close_point()
        if not self._points or self._first_s is None or self._last is None:
            return None
        points = self._points
        stages = join([Stage(s.kind, s.from_s, s.to_s) for s in self._stretches])
        start_c, end_c = points[0].fluid_c, points[-1].fluid_c
        done_s = self._done_s()
        peak_c = max((p.fluid_c for p in points if p.at_s <= done_s), default=start_c)
        ambient, coolant = self._slow["ambient_c"], self._slow["coolant_c"]
        climb_from_c = math.ceil(start_c)
        tops = range(climb_from_c, math.floor(max(p.fluid_c for p in points)) + 1)
        return RunFeatures(
            readings=self._watch.readings,
            good=self._good,
            doubtful=self._watch.doubtful,
            step_c=round(self._step_c, 6) if math.isfinite(self._step_c) else 0.0,
            first_s=self._first_s,
            last_s=self._last[0],
            start_c=round(start_c, 3),
            end_c=round(end_c, 3),
            peak_c=round(peak_c, 3),
            still_rising=done_s >= points[-1].at_s and peak_c - end_c < STILL_RISING_C,
            ambient_c=round(ambient.total / ambient.count, 3) if ambient.count else None,
            coolant_start_c=coolant.first,
            coolant_peak_c=coolant.peak if coolant.count else None,
            climb_from_c=climb_from_c,
            climb_s=climb(points, [float(level) for level in tops]),
            low_s=climb(points, [self._job.band.low_c])[0],
            window=self._longest_stay(self._last[0]),
            plug_out=self._plug_out(),
            holds=self._holds(),
            gaps=tuple(self._gaps),
            stages=stages,
            blocks=blocks(points, stages),
            curve=Curve((round(p.at_s, 1), round(p.fluid_c, 2)) for p in _thinned(points)),
            doubt=_doubt(peak_c, start_c, ambient),
        )

    def _done_s(self) -> float:
        """The end of the job: level set, or else the last plug-in; infinite without either."""
        for name in (MarkName.LEVEL_SET, MarkName.PLUG_IN):
            times = [mark.elapsed_s for mark in self._marks if mark.name is name]
            if times:
                return times[-1]
        return math.inf

    def _longest_stay(self, last_s: float) -> Stay | None:
        open_window = self._watch.snapshot().window
        windows = [*self._windows, *([] if open_window is None else [open_window])]
        stays = [_stay(window, last_s) for window in windows]
        return max(stays, key=lambda stay: stay.lasted_s, default=None)

    def _plug_out(self) -> PlugOut | None:
        out_s = next((m.elapsed_s for m in self._marks if m.name is MarkName.PLUG_OUT), None)
        if out_s is None:
            return None
        before = [p for p in self._points if p.at_s <= out_s]
        if not before or out_s - before[-1].at_s > self._job.blind_limit_s + POINT_S:
            return None
        into = (m.elapsed_s for m in self._marks if m.name is MarkName.PLUG_IN)
        until_s = min(next((s for s in into if s > out_s), math.inf), out_s + PLUG_OUT_S)
        piece = before[-1].piece
        while_out = [
            p for p in self._points if out_s - POINT_S <= p.at_s <= until_s and p.piece == piece
        ]
        temps = [p.fluid_c for p in while_out]
        long_enough = len(temps) >= 4
        return PlugOut(
            out_s,
            round(before[-1].fluid_c, 3),
            round(slope(while_out) * 60.0, 4) if long_enough else None,
            round(max(temps) - min(temps), 3) if long_enough else None,
        )

    def _holds(self) -> Holds:
        kinds = [event.kind for event in self._holds_seen]
        starts = [e for e in self._holds_seen if e.kind is EventKind.HOLD_START]
        loaded = [s for s in self._stretches if s.kind == Phase.LOADED]
        longest_s = max((s.to_s - s.from_s for s in loaded), default=0.0)
        return Holds(
            count=len(starts),
            longest_s=longest_s if starts else 0.0,
            over_limit=kinds.count(EventKind.HOLD_LIMIT),
            rest_missing=sum(
                any(r.code == "rest-missing" for r in event.reasons) for event in starts
            ),
        )


def _stay(window: Window, last_s: float) -> Stay:
    until_s = last_s if window.left_crossed_s is None else window.left_crossed_s
    at_an_edge = window.ended_by in (EventKind.LEFT_HIGH, EventKind.LEFT_LOW)
    return Stay(
        window.entered_crossed_s,
        until_s if at_an_edge else None,
        window.ended_by or "ended",
        round(until_s - window.entered_crossed_s, 3),
    )


def _thinned(points: list[Point]) -> list[Point]:
    kept: list[Point] = []
    for point in points:
        if not kept or point.at_s - kept[-1].at_s >= CURVE_S - POINT_S / 2 or point is points[-1]:
            kept.append(point)
    return kept


def _doubt(peak_c: float, start_c: float, ambient: _Tally) -> str:
    if peak_c > ABSURD_FLUID_C or (
        ambient.count and ambient.total / ambient.count > ABSURD_AMBIENT_C
    ):
        return str(Reason("looks-fahrenheit", {"start": round(start_c), "peak": round(peak_c)}))
    return ""
