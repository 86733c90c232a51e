"""The level check itself, from plug out to plug in, and what may be said about it afterwards.

A check begins with the mark `plug-out` and ends with `plug-in`; `level-set` says that the mechanic
calls the level right. Nothing is claimed for a check during which the temperature was lost, even
for a moment. The mark `drained` says that the open plug was for draining: then it was no check.
"""

from dataclasses import dataclass, replace
from enum import StrEnum

from warmwatch.core.band import Band, Place
from warmwatch.core.level.conditions import (
    Condition,
    ConditionName,
    ConditionState,
    in_band,
    worst,
)
from warmwatch.core.level.drip import FLOWS
from warmwatch.core.reading import Mark, MarkName

KEPT_CHECKS = 20
FLUID_MARKS = (MarkName.DRAINED, MarkName.FILLED, MarkName.TOPPED_UP)


@dataclass(frozen=True, slots=True)
class Check:
    """One check; times in elapsed seconds, temperatures in degC as last believed.

    `min_c` and `max_c` cover every believed reading from the last one before plug out to the end.
    `conditions` holds for each condition its worst state in that time; that of the band comes from
    every reading, so that it agrees with the outcome. `flow` is what was told of the plug last,
    `streamed` says that a stream was told at all, `drip_c` the temperature at the first drip.
    `after` are marks that say that the amount of fluid was changed after the check.
    """

    out_s: float
    out_c: float | None
    in_s: float | None = None
    in_c: float | None = None
    set_s: float | None = None
    min_c: float | None = None
    max_c: float | None = None
    doubtful: int = 0
    lost: bool = False
    flow: MarkName | None = None
    streamed: bool = False
    drip_s: float | None = None
    drip_c: float | None = None
    conditions: tuple[Condition, ...] = ()
    after: tuple[MarkName, ...] = ()

    @property
    def end_s(self) -> float | None:
        """When the plug went in, or failing that when the level was called set."""
        return self.set_s if self.in_s is None else self.in_s


class Outcome(StrEnum):
    """What a recording shows about the level."""

    SET_INSIDE = "set-inside"
    SET_OUTSIDE = "set-outside"
    CHECKED_INSIDE = "checked-inside"
    CHECKED_OUTSIDE = "checked-outside"
    NOT_KNOWN = "not-known"
    NO_CHECK = "no-check"


def outcome(check: Check | None, band: Band) -> Outcome:
    """Return what may be said: inside only if every believed reading of the check was."""
    if check is None:
        return Outcome.NO_CHECK
    if check.end_s is None or check.lost or check.min_c is None or check.max_c is None:
        return Outcome.NOT_KNOWN
    inside = band.low_c <= check.min_c and check.max_c <= band.high_c
    if check.set_s is not None:
        return Outcome.SET_INSIDE if inside else Outcome.SET_OUTSIDE
    return Outcome.CHECKED_INSIDE if inside else Outcome.CHECKED_OUTSIDE


def _with_band(check: Check, band: Band) -> Check:
    """Return the check with the condition of the band as all its readings give it."""
    if check.lost or check.min_c is None or check.max_c is None:
        place = Place.UNSEEN
    elif check.min_c < band.low_c:
        place = Place.BELOW
    else:
        place = Place.ABOVE if check.max_c > band.high_c else Place.INSIDE
    told = (
        in_band(place) if c.name is ConditionName.FLUID_IN_BAND else c for c in check.conditions
    )
    return replace(check, conditions=tuple(told))


def _with_after(check: Check, name: MarkName) -> Check:
    return check if name in check.after else replace(check, after=(*check.after, name))


class CheckTracker:
    """Follows the checks of one recording; the last KEPT_CHECKS are kept."""

    def __init__(self, band: Band) -> None:
        self._band = band
        self._open: Check | None = None
        self._at_set: Check | None = None
        self._done: tuple[Check, ...] = ()
        self._unmet: set[str] = set()
        self.changed: tuple[MarkName, ...] = ()
        """What changed the amount of fluid before there was any check."""

    @property
    def is_open(self) -> bool:
        """Return whether the plug is out, as far as the marks say."""
        return self._open is not None

    @property
    def open_check(self) -> Check | None:
        """The check that goes on, None with the plug in."""
        return self._open

    def checks(self) -> tuple[Check, ...]:
        """Return all checks, oldest first; one still open ends where the level was called set."""
        now = () if self._open is None else (self._at_set or self._open,)
        return tuple(_with_band(check, self._band) for check in (*self._done, *now))

    def mark(self, mark: Mark, fluid_c: float | None, *, blind: bool) -> None:
        """Take a mark; `fluid_c` is the last believed temperature."""
        known_c = None if blind else fluid_c
        if mark.name in FLUID_MARKS:
            self._changed(mark.name)
        if mark.name is MarkName.PLUG_OUT and self._open is None:
            self._unmet.clear()
            self._open = Check(
                mark.elapsed_s, known_c, min_c=known_c, max_c=known_c, lost=known_c is None
            )
        elif mark.name is MarkName.LEVEL_SET:
            self._set(mark)
        elif self._open is None:
            return
        elif mark.name is MarkName.PLUG_IN:
            lost = self._open.lost or blind
            done = replace(self._open, in_s=mark.elapsed_s, in_c=known_c, lost=lost)
            self._done = (*self._done, done)[-KEPT_CHECKS:]
            self._open = self._at_set = None
        elif mark.name is MarkName.DRAINED:
            self._open = self._at_set = None
        elif mark.name in FLOWS:
            self._flow(mark, known_c)

    def _changed(self, name: MarkName) -> None:
        """The amount of fluid was changed: what was set before may not hold any more."""
        if self._at_set is not None:
            self._at_set = _with_after(self._at_set, name)
        elif self._open is None and self._done:
            self._done = (*self._done[:-1], _with_after(self._done[-1], name))
        elif self._open is None and name not in self.changed:
            self.changed = (*self.changed, name)

    def fluid(self, fluid_c: float) -> None:
        """Take a believed temperature."""
        check = self._open
        if check is None:
            return
        if check.min_c is None or check.max_c is None:
            self._open = replace(check, min_c=fluid_c, max_c=fluid_c)
        elif not check.min_c <= fluid_c <= check.max_c:
            low_c, high_c = min(check.min_c, fluid_c), max(check.max_c, fluid_c)
            self._open = replace(check, min_c=low_c, max_c=high_c)

    def lose(self) -> None:
        """Continuity is lost."""
        if self._open is not None:
            self._open = replace(self._open, lost=True)

    def doubt(self) -> None:
        """A reading was not believed."""
        if self._open is not None:
            self._open = replace(self._open, doubtful=self._open.doubtful + 1)

    def judge(self, conditions: tuple[Condition, ...]) -> tuple[Condition, ...]:
        """Take the conditions as they stand with the plug out; return those newly unmet."""
        if self._open is None:
            return ()
        self.merge(conditions)
        unmet = {c.name: c for c in conditions if c.state is ConditionState.NOT_MET}
        new = tuple(c for name, c in unmet.items() if name not in self._unmet)
        self._unmet |= unmet.keys()
        return new

    def merge(self, conditions: tuple[Condition, ...]) -> None:
        """Take the conditions as they stand with the plug out, without telling what is new."""
        if self._open is not None:
            merged = worst(self._open.conditions, conditions)
            self._open = replace(self._open, conditions=merged)

    def _set(self, mark: Mark) -> None:
        if self._open is not None and self._open.set_s is None:
            self._open = replace(self._open, set_s=mark.elapsed_s)
            self._at_set = self._open
        elif self._open is None and self._done and self._done[-1].set_s is None:
            self._done = (*self._done[:-1], replace(self._done[-1], set_s=mark.elapsed_s))

    def _flow(self, mark: Mark, fluid_c: float | None) -> None:
        assert self._open is not None
        streamed = self._open.streamed or mark.name is MarkName.STREAM
        check = replace(self._open, flow=mark.name, streamed=streamed)
        if mark.name is MarkName.DRIP and check.drip_s is None:
            check = replace(check, drip_s=mark.elapsed_s, drip_c=fluid_c)
        self._open = check
