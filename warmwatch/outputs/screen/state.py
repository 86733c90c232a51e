"""The one state that a screen says largest, and when it is which."""

from collections.abc import Mapping
from enum import StrEnum

from warmwatch.core.alerts import BRIGHT_CHANCE
from warmwatch.core.band import Place
from warmwatch.core.events import EventKind
from warmwatch.outputs.screen.story import Tale
from warmwatch.words.view import View

GRACE_S = 1.0
"""So much later than the fold a screen calls blind by itself, should the fold be held up."""
COOLANT_FRESH_S = 30.0
_NEAR_C = 2.0
_NEAR_SLACK = 1.5
"""The band stays near until the forecast is so much longer than the lead at which it was told."""


class State(StrEnum):
    """The one thing that a screen says largest."""

    WAITING = "waiting"
    BELOW = "below"
    LEVELLING = "levelling"
    NEAR = "near"
    INSIDE = "inside"
    TOP_NEAR = "top-near"
    ABOVE = "above"
    TOO_HOT = "too-hot"
    BLIND = "blind"
    ENDED = "ended"


WORDS: Mapping[State, tuple[str, str]] = {
    State.WAITING: ("WAITING", "No reading yet."),
    State.BELOW: ("BELOW THE BAND", "Wait."),
    State.LEVELLING: ("LEVELLING OFF", "Below the band: may never be reached like this."),
    State.NEAR: ("BAND IS NEAR", "Get ready."),
    State.INSIDE: ("IN THE BAND", "The level may be checked now."),
    State.TOP_NEAR: ("TOP IS NEAR", "Finish the check."),
    State.ABOVE: ("ABOVE THE BAND", "Too hot for the level: let it cool."),
    State.TOO_HOT: ("TOO HOT", "No more load: let it idle and cool."),
    State.BLIND: ("BLIND", "The temperature is not known."),
    State.ENDED: ("ENDED", "The watch has ended."),
}


def state_of(view: View, tale: Tale) -> State:
    """Return the state; blindness comes before all else, and heat before the band."""
    snapshot, job = view.snapshot, view.job
    if snapshot.blind or age_s(view) > job.blind_limit_s + GRACE_S:
        return State.BLIND
    if snapshot.fluid_c is None:
        return State.WAITING
    if _too_hot(view, snapshot.fluid_c):
        return State.TOO_HOT
    if snapshot.place is Place.BELOW:
        return _below(view, tale, snapshot.fluid_c)
    if snapshot.place is Place.INSIDE:
        near = tale.approach is EventKind.TOP_NEARING
        close = _is_near(view, job.band.high_c - snapshot.fluid_c, job.top_lead_s)
        return State.TOP_NEAR if near and close else State.INSIDE
    return State.ABOVE if snapshot.place is Place.ABOVE else State.WAITING


def _below(view: View, tale: Tale, fluid_c: float) -> State:
    job, forecast = view.job, view.snapshot.forecast
    dull = forecast is not None and forecast.chance < BRIGHT_CHANCE
    if tale.approach is EventKind.LEVELLING_OFF and dull:
        return State.LEVELLING
    near = tale.approach is EventKind.NEARING
    return (
        State.NEAR if near and _is_near(view, job.band.low_c - fluid_c, job.lead_s) else State.BELOW
    )


def _is_near(view: View, missing_c: float, lead_s: float) -> bool:
    """Whether what was told as near still is: a stopped engine cools for an hour afterwards."""
    forecast = view.snapshot.forecast
    mid_s = None if forecast is None else forecast.q50_s
    return missing_c <= _NEAR_C or (mid_s is not None and mid_s <= _NEAR_SLACK * lead_s)


def _too_hot(view: View, fluid_c: float) -> bool:
    coolant_c = view.values.get("coolant_c")
    fresh = view.now_s - view.value_s.get("coolant_c", 0.0) <= COOLANT_FRESH_S
    coolant = coolant_c is not None and fresh and coolant_c >= view.job.coolant_ceiling_c
    return fluid_c >= view.job.fluid_ceiling_c or coolant


def age_s(view: View) -> float:
    """Seconds since the last good reading; zero before the first."""
    last_s = view.snapshot.last_good_s
    return 0.0 if last_s is None else max(0.0, view.now_s - last_s)
