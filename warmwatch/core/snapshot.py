"""What a screen may show: the state after the last item."""

from collections.abc import Mapping
from dataclasses import dataclass

from warmwatch.core.alarm import Alarm
from warmwatch.core.band import Place, Window
from warmwatch.core.events import EventKind
from warmwatch.core.forecast.forecaster import Forecast, Outlook
from warmwatch.core.latest import Timed
from warmwatch.core.level.check import Check
from warmwatch.core.level.conditions import Condition
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
