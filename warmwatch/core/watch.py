"""The fold that ties the core together: readings, marks and ticks in, events and forecasts out.

Deterministic and bounded: the same items give the same results, live or replayed, however they are
split, and memory does not grow with time. What silence alone causes is stamped with its due time,
so that it is the same whether a tick or the next reading brings it to light.
"""

from dataclasses import replace

from warmwatch.core.alarm import Alarm, AlarmTracker, Plug
from warmwatch.core.band import Window, WindowTracker
from warmwatch.core.causes import Causes
from warmwatch.core.doubts import Doubts
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecast, Forecaster
from warmwatch.core.heat import Heat
from warmwatch.core.hold import HoldTimer
from warmwatch.core.job import Job
from warmwatch.core.latest import Latest
from warmwatch.core.level.check import Check
from warmwatch.core.level.level_job import LevelJob
from warmwatch.core.level.verdict import LevelVerdict
from warmwatch.core.look_ahead import LookAhead, Surroundings
from warmwatch.core.phase import Phase, PhaseTracker
from warmwatch.core.reading import Item, Mark, MarkName, Reading
from warmwatch.core.reason import Reason
from warmwatch.core.rest import RestTracker
from warmwatch.core.sight import Sight, is_due
from warmwatch.core.snapshot import Snapshot
from warmwatch.core.steps import RoadTest, Seen, Step, step
from warmwatch.core.trust import BACKWARDS, Trust, Verdict, believable

Result = Event | Forecast

KEPT_WINDOWS = 100
AMBIENT_FRESH_S = 600.0


class Watch:
    """Folds items into events and forecasts for one job.

    Without `ahead` there are no forecasts. Without `aloud` there is nothing that is only for a
    mechanic who is there: no conditions of a check, no alarms, no ceilings.

    >>> from warmwatch.core.band import Band
    >>> watch = Watch(Job(Band(80, 90)))
    >>> [result.kind for t in range(4) for result in watch.step(Reading(t, {"fluid_c": 85.0}))
    ...  if isinstance(result, Event)]
    [<EventKind.ENTERED: 'entered'>]
    """

    def __init__(
        self,
        job: Job,
        forecaster: Forecaster | None = None,
        *,
        ahead: bool = True,
        aloud: bool = True,
    ) -> None:
        self.job = job
        self.windows: list[Window] = []
        self.readings = self.doubtful = 0
        self._sight = Sight(job.blind_limit_s)
        self._tracker = WindowTracker(job.band, deadband_c=job.deadband_c, confirm_s=job.confirm_s)
        self._trust = Trust()
        self._phases = PhaseTracker(max(5.0, job.blind_limit_s))
        self._aloud = aloud
        self._holds = HoldTimer(job.hold_limit_s, job.rest_s)
        self._now_s: float | None = None
        self._doubts = Doubts()
        self._latest = Latest(None if aloud else ("ambient_c",))
        self._ahead = LookAhead(
            job,
            self._tracker,
            Surroundings(self._latest, self._phases),
            (forecaster or Forecaster()) if ahead else None,
        )
        self._heat = Heat(job, self._latest)
        self._rests = RestTracker(job.band)
        self._road_test = RoadTest()
        self._alarms = AlarmTracker()
        self._mark_s = 0.0
        self._level = LevelJob(job, self._phases)
        self._causes = Causes(self._level, self._phases, self._holds, self._heat)

    @property
    def checks(self) -> tuple[Check, ...]:
        """The level checks so far, oldest first."""
        return self._level.checks

    @property
    def verdict(self) -> LevelVerdict:
        """What may be said about the level so far."""
        return self._level.verdict

    @property
    def blind(self) -> bool:
        """Whether no believed reading has come for the limit."""
        return self._sight.blind

    @property
    def gaps(self) -> int:
        """How often continuity was lost without being meant."""
        return self._sight.gaps

    @property
    def good(self) -> tuple[float, float] | None:
        """The last believed reading of the fluid, as (elapsed_s, fluid_c)."""
        return self._sight.good

    @property
    def phase(self) -> Phase:
        """What the vehicle is doing."""
        return self._phases.phase

    @property
    def alarm(self) -> Alarm:
        """What insists now, and where the plug is."""
        return self._alarms.alarm(*self._level.plug)

    @property
    def visit_step(self) -> Step:
        """The present step of the visit."""
        level, place = self._level, self._tracker.likely_place(self._sight.fluid_c)
        draining, drove_s = level.is_draining(place), self._road_test.drove_s
        return step(Seen(place, level.drain_place, draining, level.state, level.marks, drove_s))

    @property
    def due_s(self) -> float:
        """The elapsed time at which silence alone changes something; infinite while blind."""
        return self._rests.due_s if self.blind else self._sight.due_s

    def step(self, item: Item) -> list[Result]:
        """Take one item and return what it brings to light, oldest first."""
        if self._now_s is None and isinstance(item, Reading):
            self._sight.begin(item.elapsed_s)
        results = self._silence(item)
        self._now_s = item.elapsed_s if self._now_s is None else max(self._now_s, item.elapsed_s)
        if isinstance(item, Reading):
            self.readings += 1
            results += self._reading(item)
        elif isinstance(item, Mark):
            results += self._mark(item)
        if self._aloud:
            self._insist(self._now_s, results)
        return results

    def _insist(self, now_s: float, results: list[Result]) -> None:
        """Work out what has to be heard now."""
        self._ahead.take(results)
        blind_why = self._sight.why if self.blind and not self._rests.silent else None
        near = self._ahead.near(self._sight.fluid_c)
        causes = self._causes.now(now_s, self._tracker.place, near, blind_why, self._mark_s)
        self._alarms.update(now_s, causes)

    def snapshot(self) -> Snapshot:
        """Return the state now; cheap, and never changed afterwards."""
        now_s = self._now_s or 0.0
        return Snapshot(
            elapsed_s=now_s,
            place=self._tracker.place,
            blind=self.blind,
            fluid_c=self._sight.fluid_c,
            last_good_s=None if self.good is None else self.good[0],
            phase=self._phases.phase,
            held_s=self._holds.held_s(now_s),
            rest_left_s=self._holds.rest_left_s(now_s),
            forecast=self._ahead.forecast,
            outlook=self._ahead.outlook,
            window=self._tracker.window_now(),
            windows=tuple(self.windows),
            alarm=self.alarm,
            approach=self._ahead.near(self._sight.fluid_c),
            latest=self._latest.all(),
            check=self._level.open_check or (self.checks[-1] if self.checks else None),
            conditions=self._level.conditions(now_s, self._tracker.place, blind=self.blind),
            rate_c_per_min=self._level.rate_c_per_min,
            drain_place=self._level.drain_place,
            drain_windows=self._level.drain_windows,
            step=self.visit_step,
            rest=self._rests.rest,
            rests=self._rests.done,
            readings=self.readings,
            doubtful=self.doubtful,
            gaps=self.gaps,
        )

    def _silence(self, item: Item) -> list[Result]:
        silence = self._sight.falls_silent(item)
        results: list[Result] = [] if silence is None else [*self._fall_silent(*silence)]
        if self.blind and is_due(self.due_s, item):
            results += self._rests.looks(item.elapsed_s, self._sight.fluid_c)
        return results

    def _fall_silent(self, at_s: float, reason: Reason) -> list[Event]:
        if self._rests.rest is None:
            return [self._go_blind(at_s, reason)]
        self._sight.lose()
        cooling = self._ahead.rest()
        self._lose_continuity("resting")
        ambient_c = self._latest.value("ambient_c", at_s, AMBIENT_FRESH_S)
        self._rests.fall_silent(self._sight.good, ambient_c, at_s, cooling)
        return []

    def _go_blind(self, at_s: float, reason: Reason) -> Event:
        self._sight.lose(reason)
        self._lose_continuity("blind")
        return Event(at_s, EventKind.BLIND, self._sight.fluid_c, reasons=(reason,))

    def _lose_continuity(self, why: str) -> None:
        last_good_s = self._sight.last_good_s
        self._keep(self._tracker.lose(last_good_s, why))
        self._level.lose(last_good_s, why)
        self._ahead.lose()

    def _keep(self, window: Window | None) -> None:
        if window is not None:
            self.windows = [*self.windows, window][-KEPT_WINDOWS:]

    def _reading(self, reading: Reading) -> list[Result]:
        verdict = self._trust.judge(reading)
        if verdict is not None and verdict.reason is BACKWARDS:
            return self._doubt(reading, verdict) + self._lost_in_time(reading.elapsed_s)
        if (values := believable(reading)) is not reading.values:
            reading = replace(reading, values=values)
        phase = self._phases.step(reading.elapsed_s, values)
        self._latest.take(reading.elapsed_s, values)
        if self._aloud:
            self._level.reading(reading, phase)
            self._road_test.phase(reading.elapsed_s, phase)
        results: list[Result] = []
        if verdict is not None and verdict.fluid_c is None:
            results += self._doubt(reading, verdict)
        elif verdict is not None and verdict.fluid_c is not None:
            results += self._good_reading(reading, verdict.fluid_c, verdict)
        results += self._holds.step(reading.elapsed_s, phase, self._sight.fluid_c)
        if not self._aloud:
            return results
        place, fluid_c = self._tracker.place, self._sight.fluid_c
        believed_c = None if verdict is None else verdict.fluid_c
        results += self._heat.reading(reading, believed_c, fluid_c)
        return results + self._level.judge(reading.elapsed_s, place, fluid_c, blind=self.blind)

    def _doubt(self, reading: Reading, verdict: Verdict) -> list[Result]:
        self.doubtful += 1
        self._level.doubt()
        reason = verdict.reason or Reason("doubtful")
        fluid_c = self._sight.fluid_c
        return [*self._doubts.events(reading.elapsed_s, reason, fluid_c, blind=self.blind)]

    def _lost_in_time(self, elapsed_s: float) -> list[Result]:
        """Times behind the clock, one after the other: the clock will not catch up, so be blind."""
        if not self._sight.behind(elapsed_s):
            return []
        return [self._go_blind(self._now_s or 0.0, Reason("time-behind"))]

    def _good_reading(self, reading: Reading, fluid_c: float, verdict: Verdict) -> list[Result]:
        now_s = reading.elapsed_s
        results: list[Result] = []
        if verdict.fresh and not self.blind:
            self._sight.gaps += 1
            self._lose_continuity("jump")
        self._rests.reading(now_s)
        if self._sight.see(now_s, fluid_c):
            self._doubts.forget()
            results.append(Event(now_s, EventKind.SEEING, fluid_c))
        results += self._cross(now_s, fluid_c)
        if self._aloud:
            results += self._level.fluid(now_s, fluid_c)
        return results + self._ahead.reading(now_s, fluid_c)

    def _cross(self, now_s: float, fluid_c: float) -> list[Result]:
        crossing = self._tracker.step(now_s, fluid_c)
        if crossing is None:
            return []
        self._keep(crossing.ended)
        self._ahead.cross()
        event = crossing.event(now_s, fluid_c)
        judged = self._aloud and crossing.kind is EventKind.ENTERED
        return [self._level.entered(event) if judged else event]

    def _mark(self, mark: Mark) -> list[Result]:
        self._alarms.hear()
        self._mark_s = mark.elapsed_s
        place, fluid_c = self._tracker.place, self._sight.fluid_c
        refused = mark.name is MarkName.RESTING and self._level.plug[0] is Plug.OUT
        answers, back = self._level.mark(mark, place, fluid_c, blind=self.blind)
        self._road_test.mark(mark)
        if back is not None and back.name is MarkName.RESTING:
            return [*answers, *self._wake(mark.elapsed_s)]
        if mark.name is MarkName.RESTING and not refused:
            self._rests.begin(mark.elapsed_s)
            if self.blind:  # it was silent before the mechanic said so
                self._rests.fall_silent(self._sight.good, None, mark.elapsed_s)
        return list(answers)

    def _wake(self, now_s: float) -> list[Event]:
        """The rest was taken back: silence that lasts was not meant."""
        silent = self._rests.take_back()
        return [self._go_blind(now_s, self._sight.silent(now_s))] if silent else []
