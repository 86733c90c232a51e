"""The words spoken after a tone: short, whole sentences, true at the moment they are spoken."""

import math
from collections.abc import Callable

from warmwatch.core.band import Place
from warmwatch.core.events import EventKind
from warmwatch.core.units import from_c
from warmwatch.words.view import View

_WORDS = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen "
    "fifteen sixteen seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty "
    "ninety"
)
_ONES = tuple(_WORDS.split(" "))[:20]
_TENS = ("", "", *_WORDS.split(" ")[20:])


def number_words(number: int) -> str:
    """Return a whole number from -999 to 999 in words, as in `one hundred and eighty-six`."""
    if number < 0:
        return f"minus {number_words(-number)}"
    if number < 20:
        return _ONES[number]
    if number < 100:
        tens, ones = divmod(number, 10)
        return _TENS[tens] + (f"-{_ONES[ones]}" if ones else "")
    hundreds, rest = divmod(number, 100)
    return f"{_ONES[hundreds]} hundred" + (f" and {number_words(rest)}" if rest else "")


def sentence(kind: str, view: View | None) -> str:
    """Return what is to be said for an event when `view` is the state; empty when nothing is.

    Nothing is said of a state that has passed by the time the tone has ended.
    """
    speak = _SENTENCES.get(kind)
    return "" if speak is None else speak(view)


def _degrees(view: View) -> str:
    """Return `, eighty-six degrees`, or nothing while no temperature can be claimed."""
    snapshot = view.snapshot
    if snapshot.blind or snapshot.fluid_c is None:
        return ""
    # Rounded away from the band outside it: 90.2 is not to be spoken as "above the band, ninety".
    rounding = {Place.ABOVE: math.ceil, Place.BELOW: math.floor}.get(snapshot.place, round)
    shown = rounding(round(from_c(snapshot.fluid_c, view.job.unit), 6))
    return f", {number_words(shown)} degree{'' if abs(shown) == 1 else 's'}"


def _minutes(view: View | None, edge: str) -> str:
    """Return `seven minutes` until an edge, rounded down; empty when it cannot be said."""
    forecast = None if view is None else view.snapshot.forecast
    if forecast is None or forecast.edge != edge or forecast.q50_s is None:
        return ""
    minutes = int(forecast.q50_s // 60)
    if minutes == 0:
        return "less than a minute"
    return f"{number_words(min(minutes, 999))} minute{'' if minutes == 1 else 's'}"


def _is(view: View | None, place: Place) -> bool:
    return view is None or (view.snapshot.place is place and not view.snapshot.blind)


def _nearing(view: View | None) -> str:
    if not _is(view, Place.BELOW):
        return ""
    minutes = _minutes(view, "low")
    return f"{minutes.capitalize()} to the band." if minutes else "The band is near."


def _entered(view: View | None) -> str:
    if not _is(view, Place.INSIDE):
        return ""
    minutes = _minutes(view, "high")
    left = f", {'' if minutes.startswith('less') else 'about '}{minutes} left" if minutes else ""
    return f"In the band{_degrees(view) if view else ''}{left}."


def _top_nearing(view: View | None) -> str:
    if not _is(view, Place.INSIDE):
        return ""
    minutes = _minutes(view, "high")
    return f"{minutes.capitalize()} left." if minutes else "The top of the band is near."


def _outside(place: Place, words: str) -> Callable[[View | None], str]:
    def speak(view: View | None) -> str:
        return f"{words}{_degrees(view) if view else ''}." if _is(view, place) else ""

    return speak


def _levelling(view: View | None) -> str:
    if not _is(view, Place.BELOW):
        return ""
    forecast = None if view is None else view.snapshot.forecast
    if view is None or forecast is None or forecast.level_c is None:
        return f"Levelling off below the band{_degrees(view) if view else ''}."
    # Rounded down: 79.6 is not to be spoken as the lower edge.
    level = number_words(math.floor(from_c(forecast.level_c, view.job.unit)))
    return f"Levelling off near {level}, below the band."


def _always(words: str) -> Callable[[View | None], str]:
    return lambda view: words


def _blind(view: View | None) -> str:
    return "Signal lost." if view is None or view.snapshot.blind else ""


def _seeing(view: View | None) -> str:
    if view is not None and view.snapshot.blind:
        return ""
    return f"Signal is back{_degrees(view) if view else ''}."


_SENTENCES: dict[str, Callable[[View | None], str]] = {
    EventKind.NEARING: _nearing,
    EventKind.ENTERED: _entered,
    EventKind.TOP_NEARING: _top_nearing,
    EventKind.LEFT_HIGH: _outside(Place.ABOVE, "Above the band"),
    EventKind.LEFT_LOW: _outside(Place.BELOW, "Below the band"),
    EventKind.LEVELLING_OFF: _levelling,
    EventKind.BLIND: _blind,
    EventKind.SEEING: _seeing,
    EventKind.HOLD_LIMIT: _always("End the hold."),
    EventKind.REST_OVER: _always("The rest is over."),
    EventKind.NOT_FIT: _always("Not fit for the check. Read the screen."),
    EventKind.DRAIN_ENTERED: _always("Warm enough to drain."),
    EventKind.DRAIN_LEFT: _always("Outside the range for draining."),
    EventKind.TOO_HOT: _always("Too hot."),
}
