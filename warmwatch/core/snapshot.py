"""What a screen may show: the state after the last item."""

from collections.abc import Mapping
from dataclasses import dataclass

from warmwatch.core.alarm import Alarm, AlarmCode
from warmwatch.core.band import Place, Window
from warmwatch.core.events import EventKind
from warmwatch.core.forecast.forecaster import Forecast, Outlook
from warmwatch.core.latest import Timed
from warmwatch.core.level.check import Check
from warmwatch.core.level.conditions import Condition, fitness
from warmwatch.core.phase import Phase
from warmwatch.core.rest import Rest
from warmwatch.core.steps import Step


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What a screen may show: the state after the last item. Times in elapsed seconds.

    `alarm` says what insists and where the plug is, `approach` which announcement still holds,
    `latest` the last believable value of each quantity. `check` is the last level check, the
    present one while the plug is out. `rest` is a rest that goes on, `rests` those that ended.
    """

    elapsed_s: float
    place: Place
    blind: bool
    fluid_c: float | None
    last_good_s: float | None
    phase: Phase
    held_s: float | None
    rest_left_s: float | None
    forecast: Forecast | None
    outlook: tuple[Outlook, ...]
    window: Window | None
    windows: tuple[Window, ...]
    alarm: Alarm
    approach: EventKind | None
    latest: Mapping[str, Timed]
    check: Check | None
    conditions: tuple[Condition, ...]
    rate_c_per_min: float | None
    drain_place: Place | None
    drain_windows: tuple[Window, ...]
    step: Step
    rest: Rest | None
    rests: tuple[Rest, ...]
    readings: int
    doubtful: int
    gaps: int

    @property
    def near_check(self) -> bool:
        """Whether the conditions of the check matter now: from `nearing` on."""
        near = self.approach is EventKind.NEARING or self.place is Place.INSIDE
        return not self.blind and (near or self.step is Step.CHECK)

    @property
    def step_allowed(self) -> bool:
        """Whether the step may be done now: nothing insists, and nothing forbids it."""
        alarm, resting = self.alarm, self.rest is not None and self.rest.silent
        if (self.blind and not resting) or alarm.insists:
            return False
        if alarm.stands(AlarmCode.TOO_HOT) or alarm.stands(AlarmCode.HOLD_LIMIT):
            return False
        if self.step is not Step.OPEN_PLUG:
            return True
        leaving = self.approach in (EventKind.TOP_NEARING, EventKind.BOTTOM_NEARING)
        return not leaving and fitness(self.conditions)[0] is not False
