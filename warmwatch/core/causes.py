"""The causes of alarms, as they stand after an item."""

from warmwatch.core.alarm import AlarmCode, Plug
from warmwatch.core.band import Place
from warmwatch.core.events import EventKind
from warmwatch.core.heat import Heat
from warmwatch.core.hold import HoldTimer
from warmwatch.core.level.level_job import LevelJob
from warmwatch.core.phase import Phase, PhaseTracker
from warmwatch.core.reason import Reason

Found = dict[AlarmCode, tuple[Reason, ...]]

FORGOTTEN_S = 240.0
"""After so long with the plug out and without a mark it is asked about."""
_RUNNING = (Phase.IDLE, Phase.LOADED, Phase.DRIVING)
_EDGE_NEAR = {
    EventKind.TOP_NEARING: AlarmCode.TOP_NEARING,
    EventKind.BOTTOM_NEARING: AlarmCode.BOTTOM_NEARING,
}


class Causes:
    """Looks at everything that may have to be heard."""

    def __init__(self, level: LevelJob, phases: PhaseTracker, holds: HoldTimer, heat: Heat) -> None:
        self._level, self._phases = level, phases
        self._holds, self._heat = holds, heat

    def now(
        self,
        now_s: float,
        place: Place,
        near: EventKind | None,
        blind_why: tuple[Reason, ...] | None,
        mark_s: float,
    ) -> Found:
        """Return every cause; `near` is the announcement that holds, `mark_s` the last mark's time.

        `blind_why` is why nothing is known now, None while something is, or silence is meant.
        """
        causes: Found = {}
        if blind_why is not None:
            causes[AlarmCode.BLIND] = blind_why
        if hot := self._heat.standing(now_s, blind=place is Place.UNSEEN):
            causes[AlarmCode.TOO_HOT] = hot
        if self._holds.over_limit:
            causes[AlarmCode.HOLD_LIMIT] = ()
        plug, out_s = self._level.plug
        if plug is Plug.OUT:
            causes |= self._of_plug(now_s, place, near)
            if self._is_forgotten(now_s, place, mark_s):
                long = Reason("plug-out-long", {"out_s": round(now_s - out_s)})
                causes[AlarmCode.PLUG_OPEN] = (*causes.get(AlarmCode.PLUG_OPEN, ()), long)
        return causes

    def _of_plug(self, now_s: float, place: Place, near: EventKind | None) -> Found:
        running = self._phases.phase in _RUNNING
        blind = place is Place.UNSEEN
        causes = self._level.plug_causes(now_s, place, running=running, blind=blind)
        if near in _EDGE_NEAR and self._is_check(place):
            causes[_EDGE_NEAR[near]] = ()
        return causes

    def _is_check(self, place: Place) -> bool:
        return self._level.is_open and not self._level.is_draining(place)

    def _is_forgotten(self, now_s: float, place: Place, mark_s: float) -> bool:
        return self._is_check(place) and now_s - mark_s >= FORGOTTEN_S
