"""What one recording with several ways of running tells by itself."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from warmwatch.commands.compare_words import RATE, shown_value
from warmwatch.core.band import Band
from warmwatch.core.methods_figures import Run
from warmwatch.core.methods_interval import Interval
from warmwatch.core.methods_stages import StageModel, StageRate, stage_model
from warmwatch.core.units import from_c
from warmwatch.outputs.words import band_text, temperature

SHOWN = 3
"""With more recordings than this each is left to itself, or to --json."""
LONG_MIN = 60.0
LEVEL_C_PER_MIN = 0.05
"""A rate below this is levelling off: how long the band would last cannot be said."""
_NAMES = {"idle": "idling", "driving": "driving", "loaded": "holds with their rests"}


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
    found: Sequence[tuple[Run, StageModel, StageModel]], band: Band, unit: str
) -> list[str]:
    """Return a paragraph for each run; one line when there are many."""
    if len(found) > SHOWN:
        return [
            (
                f"{len(found)} of the recordings hold several ways of running: compare one alone, or "
                "all --by phase, to see their rates at the same temperature."
            )
        ]
    told = []
    for run, met, inside in found:
        told.append(_rates(run, met, unit))
        told += _differences(met, unit)
        told.append(_stays(inside, band, unit))
        told += [_carried(rate, unit) for rate in met.rates if rate.carried]
    return told


def _rates(run: Run, met: StageModel, unit: str) -> str:
    parts = [f"{_rate(rate.rate, unit)} {_NAMES[rate.kind]}" for rate in met.rates]
    return (
        f"Within {run.name}, at {temperature(met.at_c, unit)}, the fluid gained "
        f"{' and '.join(parts)}."
    )


def _rate(rate: Interval, unit: str) -> str:
    low, middle, high = (
        shown_value(value, RATE, unit) for value in (rate.low, rate.estimate, rate.high)
    )
    return f"{middle} °{unit}/min ({low} to {high})"


def _differences(met: StageModel, unit: str) -> list[str]:
    return [
        f"These parts of it do not tell {_NAMES[a]} and {_NAMES[b]} apart "
        f"(difference {_rate(interval, unit)})."
        for a, b, interval in met.differences
        if not interval.tells
    ]


def _stays(inside: StageModel, band: Band, unit: str) -> str:
    parts, width_c = [], band.high_c - band.low_c
    for rate in inside.rates:
        per_min = rate.rate.estimate
        minutes = math.inf if per_min < LEVEL_C_PER_MIN else width_c / per_min
        shown = f"{minutes:.0f} min" if minutes < LONG_MIN else "more than an hour"
        parts.append(f"{shown} at the rate of {_NAMES[rate.kind]}")
    return (
        f"By the model the stay between {band_text(band, unit)} is {' and '.join(parts)}: "
        "calculated for the middle of the band, not seen."
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
