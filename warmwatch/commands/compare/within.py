"""What one recording with several ways of running tells by itself."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from warmwatch.analysis.methods.figures import Run
from warmwatch.analysis.methods.interval import Interval
from warmwatch.analysis.methods.run import RunFeatures
from warmwatch.analysis.methods.stages import SETTLE_S, StageModel, StageRate, stage_model
from warmwatch.core.band import Band
from warmwatch.core.units import from_c
from warmwatch.words.compare import shown_value
from warmwatch.words.compare_rows import DIFFERENCE, RATE
from warmwatch.words.events import band_text, temperature

SHOWN = 3
"""With more recordings than this each is left to itself, or to --json."""
LONG_MIN = 30.0
"""A longer stay is not given a figure: so slow a rate is known too roughly for that."""
LEVEL_C_PER_MIN = 0.05
"""A rate below this is levelling off: how long the band would last cannot be said."""
_NAMES = {"idle": "idling", "driving": "driving", "loaded": "holds and rests"}


def within(runs: Sequence[Run]) -> list[tuple[Run, StageModel, StageModel]]:
    """Return the runs with several ways in them: the model where they met, and in the band."""
    found = []
    for run in runs:
        blocks = run.features.blocks
        if len({block.kind for block in blocks}) < 2:
            continue
        middle_c = (run.made_for.low_c + run.made_for.high_c) / 2.0
        step_c = run.features.step_c
        met = stage_model(blocks, step_c=step_c)
        band = stage_model(blocks, middle_c, step_c=step_c)
        if met is not None and band is not None:
            found.append((run, met, band))
    return found


def within_sentences(
    found: Sequence[tuple[Run, StageModel, StageModel]], band: Band, unit: str, *, compared: int
) -> list[str]:
    """Return a paragraph for each run; one line when many recordings are compared."""
    if found and compared > SHOWN:
        return [
            (
                f"{len(found)} of the recordings hold several ways of running: compare one alone, "
                "or all --by phase, to see their rates at the same temperature."
            )
        ]
    told = []
    for run, met, inside in found:
        told += _differences(run, met, unit)
        told.append(_rates(met, unit))
        told.append(_stays(inside, band, unit))
        told.append(_after_holds(run, unit))
        told += [_carried(rate, unit) for rate in met.rates if rate.carried]
    if found:
        told.append("The more heat is still being made, the shorter the stay in the band.")
    return [sentence for sentence in told if sentence]


def _after_holds(run: Run, unit: str) -> str:
    """Say how much further the fluid rose once holds were over: their heat comes late."""
    risen_c = rise_after_holds(run.features)
    if risen_c is None:
        return ""
    return (
        f"After the last hold the fluid still rose by {shown_value(risen_c, DIFFERENCE, unit)} "
        f"°{unit} within {SETTLE_S / 60.0:.0f} min: the reading runs behind the heat."
    )


def rise_after_holds(features: RunFeatures) -> float | None:
    """Return the rise in degC within SETTLE_S after the last hold; None without one, or unseen."""
    end_s = max((stage.to_s for stage in features.stages if stage.kind == "loaded"), default=None)
    if end_s is None or features.gaps_between(end_s, end_s + SETTLE_S):
        return None
    before = [fluid_c for at_s, fluid_c in features.curve if end_s - SETTLE_S <= at_s <= end_s]
    after = [fluid_c for at_s, fluid_c in features.curve if end_s < at_s <= end_s + SETTLE_S]
    return max(0.0, max(after) - before[-1]) if before and after else None


def _differences(run: Run, met: StageModel, unit: str) -> list[str]:
    return [_difference(run, met, a, b, interval, unit) for a, b, interval in met.differences]


def _difference(run: Run, met: StageModel, a: str, b: str, interval: Interval, unit: str) -> str:
    where = f"Within {run.name}, at {temperature(met.at_c, unit)},"
    low, middle, high = (
        shown_value(value, RATE, unit) for value in (interval.low, interval.estimate, interval.high)
    )
    if not interval.tells:
        return (
            f"{where} {_NAMES[a]} and {_NAMES[b]} cannot be told apart (difference {middle} "
            f"°{unit}/min, 95 % interval {low} to {high})."
        )
    if interval.estimate < 0.0:
        low, middle, high = (text.removeprefix("-") for text in (high, middle, low))
    word = "less" if interval.estimate < 0.0 else "more"
    return (
        f"{where} the fluid gained {middle} °{unit}/min {word} with {_NAMES[a]} than with "
        f"{_NAMES[b]} (95 % interval {low} to {high})."
    )


def _rates(met: StageModel, unit: str) -> str:
    parts = [
        f"{shown_value(r.rate.estimate, RATE, unit)} °{unit}/min with {_NAMES[r.kind]}"
        for r in met.rates
    ]
    return (
        f"The rates by themselves, {' and '.join(parts)}, are rougher than their difference: a "
        "transmission is more than one mass."
    )


def _stays(inside: StageModel, band: Band, unit: str) -> str:
    parts, width_c = [], band.high_c - band.low_c
    for rate in inside.rates:
        per_min = rate.rate.estimate
        minutes = math.inf if per_min < LEVEL_C_PER_MIN else width_c / per_min
        shown = f"{minutes:.0f} min" if minutes < LONG_MIN else "more than half an hour"
        parts.append(f"{shown} with {_NAMES[rate.kind]}")
    return (
        f"By the model a stay in the band {band_text(band, unit)} lasts {' and '.join(parts)}, "
        "while that goes on: calculated for the middle of the band, not seen."
    )


def _carried(rate: StageRate, unit: str) -> str:
    low, high = (round(from_c(t, unit)) for t in (rate.seen_low_c, rate.seen_high_c))
    return (
        f"{_NAMES[rate.kind].capitalize()} was seen from {low} to {high} °{unit}; its rate at "
        f"{temperature(rate.at_c, unit)} is carried there by the shared loss term."
    )


def within_objects(found: Sequence[tuple[Run, StageModel, StageModel]]) -> list[dict[str, Any]]:
    """Return the same as JSON values, degC and minutes."""
    return [
        {
            "recording": run.name,
            "at_c": met.at_c,
            "loss_per_min": interval_object(met.loss_per_min),
            "stages": [_stage_object(rate) for rate in met.rates],
            "differences": [
                {"a": a, "b": b, **interval_object(interval)} for a, b, interval in met.differences
            ],
            "mid_band_c": inside.at_c,
            "mid_band_rates": {rate.kind: interval_object(rate.rate) for rate in inside.rates},
        }
        for run, met, inside in found
    ]


def _stage_object(rate: StageRate) -> dict[str, Any]:
    return {
        "phase": rate.kind,
        "blocks": rate.blocks,
        "seen_low_c": rate.seen_low_c,
        "seen_high_c": rate.seen_high_c,
        "carried": rate.carried,
        "rate_c_per_min": interval_object(rate.rate),
    }


def interval_object(interval: Interval | None) -> Mapping[str, Any]:
    """Return an interval as JSON values; an end that is not known is null."""
    if interval is None:
        return {"estimate": None, "low": None, "high": None, "interval": "none", "df": None}
    low, high = (
        value if abs(value) < float("inf") else None for value in (interval.low, interval.high)
    )
    return {
        "estimate": interval.estimate,
        "low": low,
        "high": high,
        "interval": interval.how,
        "df": interval.df,
    }
