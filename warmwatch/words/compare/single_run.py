"""What one recording with several ways of running tells by itself, in sentences."""

import math
from collections.abc import Sequence

from warmwatch.analysis.methods.figures import Run
from warmwatch.analysis.methods.interval import Interval
from warmwatch.analysis.methods.single_run import rise_after_holds
from warmwatch.analysis.methods.stages import SETTLE_S, StageModel, StageRate
from warmwatch.core.band import Band
from warmwatch.core.units import from_c
from warmwatch.words.compare.rows import DIFFERENCE, RATE
from warmwatch.words.compare.table import shown_value
from warmwatch.words.events import band_text, temperature

SHOWN = 3
"""With more recordings than this each is left to itself, or to --json."""
LONG_MIN = 30.0
"""A longer stay is not given a figure: so slow a rate is known too roughly for that."""
LEVEL_C_PER_MIN = 0.05
"""A rate below this is levelling off: how long the band would last cannot be said."""
_NAMES = {"idle": "idling", "driving": "driving", "loaded": "holds and rests"}


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
    lines = []
    for run, met, inside in found:
        lines += _differences(run, met, unit)
        lines.append(_rates(met, unit))
        lines.append(_stays(inside, band, unit))
        lines.append(_after_holds(run, unit))
        lines += [_carried(rate, unit) for rate in met.rates if rate.carried]
    if found:
        lines.append("The more heat is still being made, the shorter the stay in the band.")
    return [sentence for sentence in lines if sentence]


def _after_holds(run: Run, unit: str) -> str:
    """Say how much further the fluid rose once holds were over: their heat comes late."""
    risen_c = rise_after_holds(run.features)
    if risen_c is None:
        return ""
    return (
        f"After the last hold the fluid still rose by {shown_value(risen_c, DIFFERENCE, unit)} "
        f"°{unit} within {SETTLE_S / 60.0:.0f} min: the reading runs behind the heat."
    )


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
