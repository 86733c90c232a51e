"""What is to be said while the plug is out, and about draining: the same on every screen."""

from warmwatch.core.alarm import AlarmCode, Standing
from warmwatch.core.band import Place
from warmwatch.core.events import EventKind
from warmwatch.core.level.conditions import Condition, ConditionName, ConditionState
from warmwatch.core.level.drip import advice, by_warming
from warmwatch.core.reading import MarkName
from warmwatch.core.steps import Step
from warmwatch.words.amounts import little_text
from warmwatch.words.catalogue import phrase
from warmwatch.words.reasons import condition_name, condition_text, reasons_words
from warmwatch.words.view import View


def plug_texts(view: View) -> tuple[str, ...]:
    """Return what the open plug asks for, and what the fluid itself does; only in a check."""
    snapshot = view.snapshot
    check = snapshot.check
    if snapshot.step is not Step.CHECK or check is None or check.in_s is not None:
        return ()
    fluid_c = None if snapshot.blind else snapshot.fluid_c
    order = advice(
        check.flow,
        snapshot.place,
        fluid_c,
        view.job.band,
        streamed=check.streamed,
        top_near=snapshot.approach is EventKind.TOP_NEARING,
    )
    texts = [phrase(f"plug.{order}")]
    # The forecaster sees a slow rise through the steps of a quantised signal.
    forecast = snapshot.forecast
    rate = snapshot.rate_c_per_min if forecast is None else forecast.rate_c_per_min
    drip = by_warming(view.job.fluid, fluid_c, rate)
    if drip.ml_per_min is not None and drip.drops_per_min is not None:
        amount = little_text(drip.ml_per_min, view.job.fluid)
        drops = f"{drip.drops_per_min:.0f}"
        texts.append(phrase("plug.by-warming", amount=amount, drops=drops))
    return tuple(texts)


def alarm_text(standing: Standing, unit: str) -> str:
    """Return what stands, and why."""
    why = reasons_words(standing.reasons, unit)
    return phrase(f"alarm.{standing.code}", reasons=why, why=f": {why}" if why else "")


def plug_open_text(view: View) -> str:
    """Return why the open plug should be closed, empty when nothing asks for it."""
    standing = view.snapshot.alarm.standing
    plug = (one for one in standing if one.code is AlarmCode.PLUG_OPEN)
    return "".join(alarm_text(one, view.job.unit) for one in plug)


def drain_text(view: View) -> str:
    """Return whether the fluid is warm enough to drain, empty when that is not asked."""
    if view.snapshot.blind or view.snapshot.drain_place not in (Place.INSIDE, Place.ABOVE):
        return ""
    return phrase(f"drain.{view.snapshot.drain_place}")


_TOLD_BY = {
    ConditionName.SELECTOR_IN_PARK: MarkName.IN_PARK,
    ConditionName.SELECTOR_CYCLED: MarkName.SELECTOR_CYCLED,
    ConditionName.VEHICLE_LEVEL: MarkName.VEHICLE_LEVEL,
}
_SIGNS = {
    ConditionState.NOT_MET: "not-met",
    ConditionState.UNKNOWN: "unknown",
    ConditionState.MET: "met",
}


def check_lines(view: View) -> tuple[str, ...]:
    """Return the conditions as a short list: what is not met, not known and, last, what is met.

    Beside what a person must tell stands the key that tells it.
    """
    order = list(ConditionState)
    open_ones = [c for c in view.snapshot.conditions if c.state is not ConditionState.MET]
    met = [c for c in view.snapshot.conditions if c.state is ConditionState.MET]
    lines = [_check_line(c, view) for c in sorted(open_ones, key=lambda c: order.index(c.state))]
    names = ", ".join(condition_name(c.name) for c in met)
    return (*lines, *([phrase("check.met", text=names)] if met else []))


def _check_line(condition: Condition, view: View) -> str:
    text = condition_text(condition, view.job.unit)
    key = view.keys.get(_TOLD_BY.get(condition.name, MarkName.NOTE), "")
    asks = condition.state is ConditionState.UNKNOWN and condition.name in _TOLD_BY
    tell = phrase("check.key", key=key) if asks and key else ""
    return phrase(f"check.{_SIGNS[condition.state]}", text=text) + tell


def conditions_text(view: View) -> str:
    """Return the check conditions in one line; what is not known is never counted as met."""
    states: dict[ConditionState, list[str]] = {state: [] for state in ConditionState}
    for condition in view.snapshot.conditions:
        states[condition.state].append(condition_name(condition.name))
    unmet, unknown = states[ConditionState.NOT_MET], states[ConditionState.UNKNOWN]
    return phrase(
        "conditions.line",
        met=f"{len(states[ConditionState.MET])}",
        unmet=phrase("conditions.unmet", names=", ".join(unmet)) if unmet else "",
        unknown=phrase("conditions.unknown", names=", ".join(unknown)) if unknown else "",
    )
