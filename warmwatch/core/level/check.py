"""The level check itself, from plug out to plug in, and what may be said about it afterwards.

A check begins with the mark `plug-out` and ends with `plug-in`, and with nothing else; `level-set`
says that the mechanic calls the level right. Nothing is claimed for a check during which the
temperature was lost, even for a moment. The mark `drained` says that the open plug
was for draining: then it was no check, though the plug is still out; but once a flow was told, only
with its amount.
"""

from dataclasses import dataclass, replace
from enum import StrEnum

from warmwatch.core.band import Band, Place
from warmwatch.core.level.conditions import Condition, ConditionName, in_band
from warmwatch.core.reading import MarkName

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


def with_band(check: Check, band: Band) -> Check:
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
