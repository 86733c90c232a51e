"""The words spoken after a tone: short, whole sentences, true at the moment they are spoken.

Figures are those of the screen. Nothing is said of a state that has passed by the time the tone
has ended; without a view (the tones are only being shown) each sentence is said bare.
"""

import math
import re
from collections.abc import Callable, Iterable

from warmwatch.core.alarm import AlarmCode, Standing
from warmwatch.core.band import Place
from warmwatch.core.events import EventKind
from warmwatch.core.reason import Reason
from warmwatch.core.units import from_c
from warmwatch.words.catalogue import capital, phrase
from warmwatch.words.level import plug_texts
from warmwatch.words.numbers import number_words
from warmwatch.words.reasons import reasons_words
from warmwatch.words.status import ahead_texts
from warmwatch.words.view import View

NOT_FIT_ENTRY = "entered-not-fit"
_TIME = re.compile(r"(\d+)(\.5)? (min|s)")


def sentence(name: str, view: View | None, reasons: Iterable[Reason] = ()) -> str:
    """Return what is to be said with a tone, when `view` is the state; empty for nothing."""
    place = _PLACES.get(name)
    if view is not None and place is not None and not _is(view, place):
        return ""
    if view is not None and name in _NEEDS and not _NEEDS[name](view):
        return ""
    unit = "C" if view is None else view.job.unit
    why = reasons_words(reasons, unit) or ("" if view is None else _standing_words(name, view))
    return _say(name, view, why)


def alarm_sentence(code: AlarmCode, view: View | None) -> str:
    """Return what is to be said each time an alarm is repeated."""
    if view is not None and not view.snapshot.alarm.stands(code):
        return ""
    if view is not None and code in (AlarmCode.LEFT_HIGH, AlarmCode.LEFT_LOW):
        return phrase("speech.plug-out", order=(*plug_texts(view), "")[0]).strip()
    return sentence(code, view)


def _say(name: str, view: View | None, why: str) -> str:
    degrees = "" if view is None else _degrees(view)
    time = "" if view is None or not _fits(name, view) else spoken_time(ahead_texts(view)[0])
    code = f"speech.{name}"
    if time and name in _TIMED:
        code += "-time"
    elif why and name in _REASONED:
        code += "-why"
    elif name == EventKind.LEVELLING_OFF and view is not None and _is(view, Place.ABOVE):
        return phrase(f"{code}-above")
    elif name == EventKind.LEVELLING_OFF and view is not None and _level(view):
        return phrase(f"{code}-near", level=_level(view))
    elif name not in _SPOKEN:
        return ""
    return phrase(code, degrees=degrees, time=time, Time=capital(time), why=why)


def spoken_time(shown: str) -> str:
    """Return `about three minutes` for `3 min`, the figure on the screen; empty for no time."""
    match = _TIME.search(shown)
    if match is None:
        return ""
    number, half, unit = int(match[1]), match[2], match[3]
    one = number == 1 and not half
    words = number_words(min(number, 999)) if number or not half else ""
    if half:
        words = phrase("speech.and-a-half", words=words) if number else phrase("speech.half")
    unit_code = f"speech.{unit}{'-one' if one or (half and not number) else ''}"
    return phrase(unit_code, words=words)


def _fits(name: str, view: View) -> bool:
    """Return whether the forecast is for the edge that the sentence is about."""
    forecast, edge = view.snapshot.forecast, _EDGES.get(name)
    return forecast is not None and edge in (None, forecast.edge)


def _standing_words(name: str, view: View) -> str:
    standing: list[Standing] = [o for o in view.snapshot.alarm.standing if o.code == name]
    return reasons_words(standing[0].reasons, view.job.unit) if standing else ""


def _degrees(view: View) -> str:
    """Return `, eighty-six degrees`, or nothing while no temperature can be claimed."""
    snapshot = view.snapshot
    if snapshot.blind or snapshot.fluid_c is None:
        return ""
    # Rounded away from the band outside it: 90.2 is not to be spoken as "above the band, ninety".
    rounding = {Place.ABOVE: math.ceil, Place.BELOW: math.floor}.get(snapshot.place, round)
    shown = rounding(round(from_c(snapshot.fluid_c, view.job.unit), 6))
    code = "speech.degree" if abs(shown) == 1 else "speech.degrees"
    return phrase(code, words=number_words(shown))


def _level(view: View) -> str:
    forecast = view.snapshot.forecast
    if forecast is None or forecast.level_c is None:
        return ""
    # Rounded down: 79.6 is not to be spoken as the lower edge.
    return number_words(math.floor(from_c(forecast.level_c, view.job.unit)))


def _is(view: View, place: Place) -> bool:
    return view.snapshot.place is place and not view.snapshot.blind


def _blind(view: View) -> bool:
    return view.snapshot.blind


def _seeing(view: View) -> bool:
    return not view.snapshot.blind


def _outside(view: View) -> bool:
    return view.snapshot.place in (Place.BELOW, Place.ABOVE) and not view.snapshot.blind


_PLACES: dict[str, Place] = {
    EventKind.ENTERED: Place.INSIDE,
    NOT_FIT_ENTRY: Place.INSIDE,
    EventKind.FIT: Place.INSIDE,
    EventKind.TOP_NEARING: Place.INSIDE,
    EventKind.BOTTOM_NEARING: Place.INSIDE,
    EventKind.LEFT_HIGH: Place.ABOVE,
    EventKind.LEFT_LOW: Place.BELOW,
}
_NEEDS: dict[str, Callable[[View], bool]] = {
    EventKind.NEARING: _outside,
    EventKind.LEVELLING_OFF: _outside,
    EventKind.BLIND: _blind,
    EventKind.SEEING: _seeing,
}
_TIMED = (
    EventKind.NEARING,
    EventKind.ENTERED,
    EventKind.TOP_NEARING,
    EventKind.BOTTOM_NEARING,
)
_EDGES: dict[str, str] = {
    EventKind.ENTERED: "high",
    EventKind.TOP_NEARING: "high",
    EventKind.BOTTOM_NEARING: "low",
}
_REASONED = (
    NOT_FIT_ENTRY,
    EventKind.NOT_FIT,
    EventKind.ASKED,
    EventKind.NOTED,
    AlarmCode.PLUG_OPEN,
)
_SPOKEN = frozenset(
    {*_PLACES, *_NEEDS, NOT_FIT_ENTRY, EventKind.NOT_FIT, AlarmCode.PLUG_OPEN}
    | {EventKind.HOLD_LIMIT, EventKind.REST_OVER, EventKind.DRAIN_ENTERED, EventKind.DRAIN_LEFT}
    | {EventKind.TOO_HOT, EventKind.ASKED, EventKind.NOTED, EventKind.LOOK_AGAIN}
)
