"""What one recording with several ways of running tells by itself, in sentences."""

import math
from collections.abc import Sequence

from warmwatch.analysis.methods.figures import Run
from warmwatch.analysis.methods.interval import Interval
from warmwatch.analysis.methods.single_run import rise_after_holds
from warmwatch.analysis.methods.stages import SETTLE_S, StageModel, StageRate
from warmwatch.core.band import Band
from warmwatch.core.units import from_c
from warmwatch.words.catalogue import capital, joined, phrase, temperature
from warmwatch.words.compare.rows import DIFFERENCE, RATE
from warmwatch.words.compare.table import shown_value
from warmwatch.words.events import band_text

SHOWN = 3
"""With more recordings than this each is left to itself, or to --json."""
LONG_MIN = 30.0
"""A longer stay is not given a figure: so slow a rate is known too roughly for that."""
LEVEL_C_PER_MIN = 0.05
"""A rate below this is levelling off: how long the band would last cannot be said."""


def within_sentences(
    found: Sequence[tuple[Run, StageModel, StageModel]], band: Band, unit: str, *, compared: int
) -> list[str]:
    """Return a paragraph for each run; one line when many recordings are compared."""
    if found and compared > SHOWN:
        return [phrase("within.several", n=len(found))]
    lines = []
    for run, met, inside in found:
        lines += _differences(run, met, unit)
        lines.append(_rates(met, unit))
        lines.append(_stays(inside, band, unit))
        lines.append(_after_holds(run, unit))
        lines += [_carried(rate, unit) for rate in met.rates if rate.carried]
    if found:
        lines.append(phrase("within.more-heat"))
    return [sentence for sentence in lines if sentence]


def _after_holds(run: Run, unit: str) -> str:
    """Say how much further the fluid rose once holds were over: their heat comes late."""
    risen_c = rise_after_holds(run.features)
    if risen_c is None:
        return ""
    return phrase(
        "within.after-holds",
        rise=shown_value(risen_c, DIFFERENCE, unit),
        degree=f"°{unit}",
        minutes=f"{SETTLE_S / 60.0:.0f}",
    )


def _differences(run: Run, met: StageModel, unit: str) -> list[str]:
    return [_difference(run, met, a, b, interval, unit) for a, b, interval in met.differences]


def _difference(run: Run, met: StageModel, a: str, b: str, interval: Interval, unit: str) -> str:
    low, middle, high = (
        shown_value(value, RATE, unit) for value in (interval.low, interval.estimate, interval.high)
    )
    code = "untold"
    if interval.tells:
        code = "less" if interval.estimate < 0.0 else "more"
    if code == "less":
        low, middle, high = (text.removeprefix("-") for text in (high, middle, low))
    return phrase(
        f"within.{code}",
        run=run.name,
        at=temperature(met.at_c, unit),
        a=_way(a),
        b=_way(b),
        low=low,
        middle=middle,
        high=high,
        degree=f"°{unit}",
    )


def _way(kind: str) -> str:
    return phrase(f"within.{kind}")


def _rates(met: StageModel, unit: str) -> str:
    parts = [
        phrase(
            "within.rate",
            rate=shown_value(r.rate.estimate, RATE, unit),
            degree=f"°{unit}",
            way=_way(r.kind),
        )
        for r in met.rates
    ]
    return phrase("within.rates", rates=joined(parts))


def _stays(inside: StageModel, band: Band, unit: str) -> str:
    parts, width_c = [], band.high_c - band.low_c
    for rate in inside.rates:
        per_min = rate.rate.estimate
        minutes = math.inf if per_min < LEVEL_C_PER_MIN else width_c / per_min
        code = "stay" if minutes < LONG_MIN else "stay-long"
        parts.append(phrase(f"within.{code}", minutes=f"{minutes:.0f}", way=_way(rate.kind)))
    return phrase("within.stays", band=band_text(band, unit), stays=joined(parts))


def _carried(rate: StageRate, unit: str) -> str:
    low, high = (f"{round(from_c(t, unit))}" for t in (rate.seen_low_c, rate.seen_high_c))
    return phrase(
        "within.carried",
        Way=capital(_way(rate.kind)),
        low=low,
        high=high,
        degree=f"°{unit}",
        at=temperature(rate.at_c, unit),
    )
