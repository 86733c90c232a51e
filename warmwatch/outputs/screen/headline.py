"""The one thing that a screen says largest, and when it is which."""

from collections.abc import Mapping
from enum import StrEnum

from warmwatch.core.alarm import AlarmCode
from warmwatch.core.band import Place
from warmwatch.core.events import EventKind
from warmwatch.words.view import View

GRACE_S = 1.0
"""So much later than the fold a screen calls blind by itself, should the fold be held up."""


class Headline(StrEnum):
    """The one thing that a screen says largest."""

    WAITING = "waiting"
    RESTING = "resting"
    BELOW = "below"
    LEVELLING = "levelling"
    NEAR = "near"
    INSIDE = "inside"
    TOP_NEAR = "top-near"
    BOTTOM_NEAR = "bottom-near"
    ABOVE = "above"
    NOT_FIT = "not-fit"
    PLUG_OPEN = "plug-open"
    HOLD_LIMIT = "hold-limit"
    TOO_HOT = "too-hot"
    BLIND = "blind"
    ENDED = "ended"


_BY_ALARM: Mapping[AlarmCode, Headline] = {
    AlarmCode.BLIND: Headline.BLIND,
    AlarmCode.TOO_HOT: Headline.TOO_HOT,
    AlarmCode.HOLD_LIMIT: Headline.HOLD_LIMIT,
    AlarmCode.LEFT_HIGH: Headline.ABOVE,
    AlarmCode.LEFT_LOW: Headline.BELOW,
    AlarmCode.TOP_NEARING: Headline.TOP_NEAR,
    AlarmCode.BOTTOM_NEARING: Headline.BOTTOM_NEAR,
    AlarmCode.NOT_FIT: Headline.NOT_FIT,
    AlarmCode.PLUG_OPEN: Headline.PLUG_OPEN,
}
_LASTS = frozenset({AlarmCode.TOO_HOT, AlarmCode.HOLD_LIMIT})
"""These stay on the banner although they were heard, until something else insists."""
_BY_APPROACH: Mapping[EventKind | None, Headline] = {
    EventKind.NEARING: Headline.NEAR,
    EventKind.LEVELLING_OFF: Headline.LEVELLING,
    EventKind.TOP_NEARING: Headline.TOP_NEAR,
    EventKind.BOTTOM_NEARING: Headline.BOTTOM_NEAR,
}
_BY_PLACE: Mapping[Place, Headline] = {
    Place.UNSEEN: Headline.WAITING,
    Place.BELOW: Headline.BELOW,
    Place.INSIDE: Headline.INSIDE,
    Place.ABOVE: Headline.ABOVE,
}


def headline(view: View) -> Headline:
    """Return what insists; where nothing does, where the fluid is and what is near."""
    snapshot, alarm = view.snapshot, view.snapshot.alarm
    resting = snapshot.rest is not None and snapshot.rest.silent
    if not resting and (snapshot.blind or age_s(view) > view.job.blind_limit_s + GRACE_S):
        return Headline.BLIND
    for one in alarm.standing:
        if not one.heard or (one.code in _LASTS and not resting):
            return _BY_ALARM[one.code]
    if resting:
        return Headline.RESTING
    if snapshot.fluid_c is None:
        return Headline.WAITING
    return _BY_APPROACH.get(snapshot.approach, _BY_PLACE[snapshot.place])


def age_s(view: View) -> float:
    """Seconds since the last good reading; zero before the first."""
    last_s = view.snapshot.last_good_s
    return 0.0 if last_s is None else max(0.0, view.now_s - last_s)
