"""When and for what a curve is asked, and what came: the same for scoring and for learning."""

from collections.abc import Iterator
from math import inf
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from tests.evaluation.curves import Curve
from tests.evaluation.families import LAWS
from warmwatch.core.forecast.forecaster import Forecaster

Floats = npt.NDArray[np.float64]
WITHIN_S = 3600.0
COOLING = ("engine off", "cooling at idle", LAWS[1])
_EVERY = ((480.0, 30.0), (1800.0, 60.0), (inf, 120.0))
"""Until so long after the way began, so often."""
_LEAST_S, _HOLDS_S, _FIRST_C, _TARGETS = 5.0, 10.0, 2.0, 10
_HELD_SHARE = 0.8
_ASKED_FOR_S = 7200  # what is reached in so many rows, and the two targets beyond


class Asked(NamedTuple):
    """One moment: the place in the curve, s since the way began, and each target with its time.

    A target that never comes has an infinite time (s from now).
    """

    at: int
    since_s: float
    due: list[tuple[float, float]]


def falls(curve: Curve) -> bool:
    """Whether the curve is asked about cooling."""
    return curve.group.startswith(COOLING)


def chance_span_s(*, falling: bool) -> float:
    """Return the time that `Forecast.chance` speaks of: an hour, three for a fluid that cools."""
    return 3.0 * WITHIN_S if falling else WITHIN_S


def arrays(curve: Curve) -> tuple[Floats, Floats, int]:
    """Return times, readings, and the place where the way to judge begins."""
    times = np.array([row.elapsed_s for row in curve.rows])
    values = np.array([row.fluid_c for row in curve.rows])
    return times, values, int(np.searchsorted(times, curve.from_s))


def asked(curve: Curve, forecaster: Forecaster) -> Iterator[Asked]:
    """Feed `forecaster` the curve, and yield each moment at which it is to be asked."""
    times, values, began = arrays(curve)
    falling = falls(curve)
    due = [(t, _reached(times, values, began, t, falling))
           for t in _targets(values[began : began + _ASKED_FOR_S], falling)]  # fmt: skip
    ask_s = 0.0
    for i, row in enumerate(curve.rows):
        if row.fresh:
            forecaster.restart()
        row.feed(forecaster)
        since_s = row.elapsed_s - float(times[began])
        if since_s > WITHIN_S:
            return
        if since_s < ask_s or i < began:
            continue
        every_s = next(every for until, every in _EVERY if since_s < until)
        ask_s = max(ask_s + every_s, every_s)
        to_come = [(t, at - row.elapsed_s) for t, at in due if at > row.elapsed_s + _LEAST_S]
        if since_s > 0.0 and to_come:
            yield Asked(i, since_s, to_come)


def _targets(values: Floats, falling: bool) -> list[float]:
    """Return the targets that these values reach, and two beyond, for the chance."""
    sign, first = (-1.0 if falling else 1.0), float(values[0])
    end = float(values.min() if falling else values.max())
    wanted = [5.0 * k for k in range(3, 22) if sign * (5.0 * k - first) >= _FIRST_C]
    wanted.sort(key=lambda target: sign * target)
    reached = [target for target in wanted if sign * (end - target) >= 0]
    return reached[-_TARGETS:] + wanted[len(reached) : len(reached) + 2]


def _reached(times: Floats, values: Floats, began: int, target: float, falling: bool) -> float:
    """Return when the target is first read after the way began and held for ten seconds."""
    there = values <= target if falling else values >= target
    for i in np.flatnonzero(there[began:]) + began:
        held = there[i : int(np.searchsorted(times, times[i] + _HOLDS_S, side="right"))]
        if held.mean() > _HELD_SHARE:  # a sensor flickers about its step while the fluid crosses it
            return float(times[i])
    return inf
