"""What is to be said while the plug is out, and about draining: the same on every screen."""

from warmwatch.core.band import Place
from warmwatch.core.level.conditions import ConditionState
from warmwatch.core.level.drip import advice, by_warming
from warmwatch.words.reasons import condition_name
from warmwatch.words.view import View


def plug_texts(view: View) -> tuple[str, ...]:
    """Return what the open plug asks for, and what the fluid itself does; nothing with it in."""
    snapshot = view.snapshot
    check = snapshot.check
    if snapshot.plug_out_s is None or check is None:
        return ()
    fluid_c = None if snapshot.blind else snapshot.fluid_c
    texts = [advice(check.flow, snapshot.place, fluid_c, view.job.band)]
    # The forecaster sees a slow rise through the steps of a quantised signal.
    forecast = snapshot.forecast
    rate = snapshot.rate_c_per_min if forecast is None else forecast.rate_c_per_min
    drip = by_warming(view.job.fluid, fluid_c, rate)
    if drip.ml_per_min is not None and drip.drops_per_min is not None:
        texts.append(
            f"Warming alone gives {drip.ml_per_min:.0f} mL/min, {drip.drops_per_min:.0f} drops/min."
        )
    return tuple(texts)


def drain_text(view: View) -> str:
    """Return whether the fluid is warm enough to drain, empty when that is not asked."""
    if view.snapshot.blind:
        return ""
    if view.snapshot.drain_place is Place.INSIDE:
        return "warm enough to drain"
    return "too hot to drain" if view.snapshot.drain_place is Place.ABOVE else ""


def conditions_text(view: View) -> str:
    """Return the check conditions in one line; what is not known is never counted as met."""
    states: dict[ConditionState, list[str]] = {state: [] for state in ConditionState}
    for condition in view.snapshot.conditions:
        states[condition.state].append(condition_name(condition.name))
    met = len(states[ConditionState.MET])
    parts = [f"Conditions: {met} met"]
    if states[ConditionState.NOT_MET]:
        parts.append(f"NOT MET: {', '.join(states[ConditionState.NOT_MET])}")
    if states[ConditionState.UNKNOWN]:
        parts.append(f"not known: {', '.join(states[ConditionState.UNKNOWN])}")
    return "; ".join(parts) + "."
