"""Which step of the visit it is: told, never forced; from the marks and what the vehicle does."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from warmwatch.core.alarm import Plug
from warmwatch.core.band import Place
from warmwatch.core.level.tracker import PlugState
from warmwatch.core.phase import Phase
from warmwatch.core.reading import Mark, MarkName

ROAD_TEST_S = 60.0
"""So much driving after the filling counts as the road test."""
LONGEST_STEP_S = 5.0


class Step(StrEnum):
    """The steps; not every visit has all of them."""

    WARM_TO_DRAIN = "warm-to-drain"
    COOL_TO_DRAIN = "cool-to-drain"
    DRAIN = "drain"
    CLOSE_DRAIN = "close-drain"
    FILL = "fill"
    ROAD_TEST = "road-test"
    WARM_UP = "warm-up"
    COOL_DOWN = "cool-down"
    OPEN_PLUG = "open-plug"
    CHECK = "check"
    TOP_UP = "top-up"
    SET_LEVEL = "set-level"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Seen:
    """What the step is judged by; `drain_place` is None where draining warm is not asked for.

    `draining`: an open plug is for draining, not for a check.
    """

    place: Place
    drain_place: Place | None
    draining: bool
    plug: PlugState
    marks: Sequence[Mark]
    drove_s: float


class RoadTest:
    """Adds up how long the vehicle was driven since the filling."""

    def __init__(self) -> None:
        self.drove_s = 0.0
        self._last_s: float | None = None

    def phase(self, now_s: float, phase: Phase) -> None:
        """Take the phase at a reading."""
        last_s, self._last_s = self._last_s, now_s
        if last_s is not None and phase is Phase.DRIVING:
            self.drove_s += min(max(now_s - last_s, 0.0), LONGEST_STEP_S)

    def mark(self, mark: Mark) -> None:
        """Take a mark: what was driven before the filling was no road test."""
        if mark.name is MarkName.FILLED:
            self.drove_s = 0.0


def step(seen: Seen) -> Step:
    """Return the present step."""
    if seen.plug.open is not None:
        return Step.DRAIN if seen.draining else Step.CHECK
    drained_s = _last_s(seen.marks, MarkName.DRAINED)
    filled_s = _last_s(seen.marks, MarkName.FILLED)
    if drained_s is not None and not _is_filled(seen, drained_s, filled_s):
        return Step.CLOSE_DRAIN if seen.plug.plug is Plug.OUT else Step.FILL
    if drained_s is None and seen.drain_place is not None and not _is_checking(seen):
        return _TO_DRAIN[seen.drain_place]
    if after_check := _after_check(seen):
        return after_check
    if seen.place is Place.INSIDE:
        return Step.OPEN_PLUG
    if filled_s is not None and seen.drove_s < ROAD_TEST_S and not seen.plug.done:
        return Step.ROAD_TEST
    return Step.COOL_DOWN if seen.place is Place.ABOVE else Step.WARM_UP


def _after_check(seen: Seen) -> Step | None:
    """Return what follows the last check, None when there was none or it is to be done again."""
    if not seen.plug.done or seen.plug.plug is not Plug.IN:
        return None
    check = seen.plug.done[-1]
    in_s = check.in_s or 0.0
    topped_s = _last_s(seen.marks, MarkName.TOPPED_UP, MarkName.FILLED)
    if topped_s is not None and topped_s > in_s:
        return None
    if check.set_s is not None and check.flow not in (MarkName.STREAM, MarkName.NO_DRIP):
        return Step.DONE
    if check.flow is None:
        return None
    return {MarkName.NO_DRIP: Step.TOP_UP, MarkName.DRIP: Step.SET_LEVEL}.get(check.flow)


_TO_DRAIN = {
    Place.UNSEEN: Step.WARM_TO_DRAIN,
    Place.BELOW: Step.WARM_TO_DRAIN,
    Place.INSIDE: Step.DRAIN,
    Place.ABOVE: Step.COOL_TO_DRAIN,
}


def _is_filled(seen: Seen, drained_s: float, filled_s: float | None) -> bool:
    """Whether it was filled after draining: told, or shown by a check since."""
    told = filled_s is not None and filled_s >= drained_s
    checks = (check for check in seen.plug.done if check.flow is not None)
    return told or any((check.in_s or 0.0) > drained_s for check in checks)


def _is_checking(seen: Seen) -> bool:
    """Whether the visit goes on without draining: in the band for the check, or after a check."""
    told = any(check.flow is not None or check.set_s is not None for check in seen.plug.done)
    return told or seen.place is Place.INSIDE


def _last_s(marks: Sequence[Mark], *names: MarkName) -> float | None:
    return max((mark.elapsed_s for mark in marks if mark.name in names), default=None)
