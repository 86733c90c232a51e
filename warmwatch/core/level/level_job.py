"""The level job inside the fold: conditions, checks and the band for draining warm."""

import math
from dataclasses import replace

from warmwatch.core.alarm import AlarmCode, Plug
from warmwatch.core.band import Place, Window, WindowTracker
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.level.check import Check
from warmwatch.core.level.conditions import Condition, ConditionName, ConditionTracker, fitness
from warmwatch.core.level.marks import question
from warmwatch.core.level.tracker import CheckTracker, PlugState
from warmwatch.core.level.verdict import LevelVerdict, judge
from warmwatch.core.phase import Phase, PhaseTracker
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.core.reason import Reason

KEPT_WINDOWS = 20
JUDGE_EVERY_S = 1.0
"""The conditions are judged so often; the temperature at every reading."""
UNFIT_S = 10.0
"""A condition that was unmet for a shorter time is not told as met again."""


class LevelJob:
    """Follows everything about the level beside the check band itself."""

    def __init__(self, job: Job, phases: PhaseTracker) -> None:
        self._conditions = ConditionTracker(job.check, phases, max(5.0, job.blind_limit_s))
        self._band = job.band
        self._capacity_l = job.fluid.capacity_l
        self._checks = CheckTracker(job.band)
        self._drain: WindowTracker | None = None
        self._judge_s = 0.0
        self._unfit_since_s: float | None = None
        self._judged: tuple[tuple[float, Place, bool], tuple[Condition, ...]] | None = None
        self._drain_windows: list[Window] = []
        if job.drain_band is not None:
            self._drain = WindowTracker(
                job.drain_band, deadband_c=job.deadband_c, confirm_s=job.confirm_s
            )

    def reading(self, reading: Reading, phase: Phase) -> None:
        """Take a reading that the clock allows, before its fluid temperature."""
        self._conditions.reading(reading.elapsed_s, reading.values, phase)
        self._judged = None

    def judge(
        self, elapsed_s: float, place: Place, fluid_c: float | None, *, blind: bool
    ) -> list[Event]:
        """Return what is wrong with the plug out, or has become right with it in."""
        if elapsed_s < self._judge_s:
            return []
        self._judge_s = elapsed_s + JUDGE_EVERY_S
        now = self.conditions(elapsed_s, place, blind=blind)
        self._checks.see(now)
        if not self._checks.is_open:
            return self._awaited(elapsed_s, place, fluid_c, now)
        if self.is_draining(place):
            return []
        # The band has events of its own.
        others = tuple(c for c in now if c.name is not ConditionName.FLUID_IN_BAND)
        unmet = self._checks.newly_unmet(others)
        return [Event(elapsed_s, EventKind.NOT_FIT, fluid_c, reasons=(c.reason,)) for c in unmet]

    def entered(self, event: Event) -> Event:
        """Return the event with what it says about the check: fit or not, and why."""
        fit, reasons = fitness(self.conditions(event.elapsed_s, Place.INSIDE, blind=False))
        self._unfit_since_s = -math.inf if fit is False else None
        return replace(event, fit=fit, reasons=reasons)

    def _awaited(
        self, elapsed_s: float, place: Place, fluid_c: float | None, now: tuple[Condition, ...]
    ) -> list[Event]:
        """Return `fit` once the check is no longer forbidden inside the band."""
        if place is not Place.INSIDE:
            self._unfit_since_s = None
            return []
        fit, reasons = fitness(now)
        if fit is False:
            self._unfit_since_s = elapsed_s if self._unfit_since_s is None else self._unfit_since_s
            return []
        since_s, self._unfit_since_s = self._unfit_since_s, None
        if since_s is None or elapsed_s - since_s < UNFIT_S:
            return []
        return [Event(elapsed_s, EventKind.FIT, fluid_c, reasons=reasons, fit=fit)]

    def fluid(self, elapsed_s: float, fluid_c: float) -> list[Event]:
        """Take a believed temperature; return what it says about draining."""
        self._conditions.fluid(elapsed_s, fluid_c)
        self._checks.fluid(fluid_c)
        if self._drain is None or self._checks.drained:
            return []
        crossing = self._drain.step(elapsed_s, fluid_c)
        if crossing is None:
            return []
        self._keep(crossing.ended)
        if crossing.kind is EventKind.ENTERED:
            kind = EventKind.DRAIN_ENTERED
        elif crossing.ended is not None:
            kind = EventKind.DRAIN_LEFT
        else:
            return []
        return [Event(elapsed_s, kind, fluid_c, crossing.crossed_s)]

    def doubt(self) -> None:
        """A reading was not believed."""
        self._checks.doubt()

    def lose(self, last_good_s: float, why: str) -> None:
        """Continuity is lost."""
        self._conditions.lose()
        self._judged = None
        self._checks.lose()
        if self._drain is not None:
            self._keep(self._drain.lose(last_good_s, why))

    def mark(
        self, mark: Mark, place: Place, fluid_c: float | None, *, blind: bool
    ) -> tuple[list[Event], Mark | None]:
        """Take a mark; return what is answered to it, and the mark that it took back."""
        asked = question(
            mark,
            self._checks.plug,
            self._checks.plug_out_s,
            last=(self._checks.checks() or (None,))[-1],
            blind=blind,
            capacity_l=self._capacity_l,
        )
        drained = self._checks.drained
        if self._checks.is_open:
            # However short the check was, its conditions are judged at least at its end.
            self._checks.see(self.conditions(mark.elapsed_s, place, blind=blind))
        back = self._checks.mark(mark, None if blind else fluid_c)
        if back is None:
            self._conditions.mark(mark)
        else:
            self._conditions.take_back(back)
        self._judged, self._judge_s = None, 0.0
        if self._drain is not None and self._checks.drained and not drained:
            self._keep(self._drain.lose(mark.elapsed_s, "drained"))
        return self._answers(mark, asked, back, fluid_c), back

    def _answers(
        self, mark: Mark, asked: Reason | None, back: Mark | None, fluid_c: float | None
    ) -> list[Event]:
        """Return what is said about a mark at once: a question, or what was understood."""
        if mark.name is MarkName.WITHDRAW:
            if back is None:
                asked = Reason("nothing-to-take-back")
            else:
                done = Reason(f"taken-back-{back.name}", {"at_s": back.elapsed_s})
                return [Event(mark.elapsed_s, EventKind.NOTED, fluid_c, reasons=(done,))]
        if asked is not None:
            return [Event(mark.elapsed_s, EventKind.ASKED, fluid_c, reasons=(asked,))]
        noted = self._noted(mark)
        return [Event(mark.elapsed_s, EventKind.NOTED, fluid_c, reasons=noted)] if noted else []

    def _noted(self, mark: Mark) -> tuple[Reason, ...]:
        if mark.name is MarkName.VEHICLE_LEVEL:
            return (self._conditions.vehicle_level().reason,)
        return ()

    @property
    def state(self) -> PlugState:
        """Where the plug is and what was checked."""
        return self._checks.state

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The marks that stand, oldest first."""
        return tuple(one.mark for one in self._checks.marks)

    @property
    def plug(self) -> tuple[Plug, float]:
        """Where the plug is, and when it came out last."""
        return self._checks.plug, self._checks.plug_out_s

    def is_draining(self, place: Place) -> bool:
        """Return whether an open plug is for draining: a range for that is set, and not used yet.

        In the band for the check, it is a check, and stays one when the fluid leaves the band.
        """
        if self._drain is None or self._checks.drained or place is Place.INSIDE:
            return False
        check = self._checks.state.open
        return check is None or not self._is_of_level(check)

    def _is_of_level(self, check: Check) -> bool:
        """Whether the plug came out inside the band, or what runs out of it was told."""
        out_c, band = check.out_c, self._band
        inside = out_c is not None and band.low_c <= out_c <= band.high_c
        return inside or check.flow is not None

    def plug_causes(
        self, now_s: float, place: Place, *, running: bool, blind: bool
    ) -> dict[AlarmCode, tuple[Reason, ...]]:
        """Return what insists while the plug is out, beside what the approach tells."""
        check = self._checks.state.open
        if check is None:
            # It was opened to drain; an engine that runs then pumps the fluid out.
            return {AlarmCode.PLUG_OPEN: (Reason("plug-out-engine-runs"),)} if running else {}
        if self.is_draining(place):
            return {}
        causes: dict[AlarmCode, tuple[Reason, ...]] = {}
        if place is Place.ABOVE or place is Place.BELOW:
            causes[AlarmCode.LEFT_HIGH if place is Place.ABOVE else AlarmCode.LEFT_LOW] = ()
        fit, reasons = fitness(self.conditions(now_s, place, blind=blind))
        if fit is False:
            causes[AlarmCode.NOT_FIT] = reasons
        if check.set_s is not None:
            causes[AlarmCode.PLUG_OPEN] = (Reason("level-set-plug-out"),)
        return causes

    @property
    def checks(self) -> tuple[Check, ...]:
        """All checks so far, oldest first."""
        return self._checks.checks()

    @property
    def verdict(self) -> LevelVerdict:
        """What may be said about the level so far."""
        return judge(self.checks, self._band, self._checks.state.changed)

    @property
    def is_open(self) -> bool:
        """Whether a check goes on."""
        return self._checks.is_open

    @property
    def open_check(self) -> Check | None:
        """The check that goes on, None with the plug in."""
        return self._checks.state.open

    @property
    def rate_c_per_min(self) -> float | None:
        """The fluid's rate over the last minute."""
        return self._conditions.rate_c_per_min()

    @property
    def drain_place(self) -> Place | None:
        """Where the fluid is beside the drain band; None without one, or once it is drained."""
        return None if self._drain is None or self._checks.drained else self._drain.place

    @property
    def drain_windows(self) -> tuple[Window, ...]:
        """The stays inside the drain band, the open one last."""
        now = self._drain.window_now() if self._drain is not None else None
        return (*self._drain_windows, *([now] if now is not None else []))

    def conditions(self, now_s: float, place: Place, *, blind: bool) -> tuple[Condition, ...]:
        """Return the check conditions as they stand."""
        key = (now_s, place, blind)
        if self._judged is None or self._judged[0] != key:
            self._judged = (key, self._conditions.judge(now_s, place, blind=blind))
        return self._judged[1]

    def _keep(self, window: Window | None) -> None:
        if window is not None:
            self._drain_windows = [*self._drain_windows, window][-KEPT_WINDOWS:]
