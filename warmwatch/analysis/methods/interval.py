"""Intervals for the mean of a group and for the difference of two groups.

Below BOOTSTRAP_FROM runs the t interval (for a difference in Welch's form, which lets the groups
spread differently); up to BOOTSTRAP_TO the bias-corrected and accelerated bootstrap (Efron 1987),
which follows a skewed group; above, the two agree and the t interval is the quick one.
"""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean, variance

from warmwatch.analysis.methods.distributions import t_quantile

BOOTSTRAP_FROM = 12
BOOTSTRAP_TO = 60
RESAMPLES = 1999
TOO_FEW = 2
"""With so few runs of a method or fewer nothing is claimed, whatever the interval says."""


@dataclass(frozen=True, slots=True)
class Interval:
    """An estimate with its 95 % interval; `how` is `t`, `welch-t`, `bootstrap` or `model-t`."""

    estimate: float
    low: float
    high: float
    how: str
    df: float | None = None

    @property
    def tells(self) -> bool:
        """Whether the interval leaves out zero."""
        return self.low > 0.0 or self.high < 0.0


def mean_interval(values: Sequence[float], level: float = 0.95) -> Interval | None:
    """Return the t interval of a group's mean; None for fewer than two values."""
    if len(values) < 2:
        return None
    df = len(values) - 1.0
    half = t_quantile(0.5 + level / 2.0, df) * math.sqrt(variance(values) / len(values))
    mean = fmean(values)
    return Interval(mean, mean - half, mean + half, "t", df)


def difference(a: Sequence[float], b: Sequence[float], level: float = 0.95) -> Interval | None:
    """Return the interval of mean(a) - mean(b); None where a group has fewer than two values."""
    if min(len(a), len(b)) < 2:
        return None
    if min(len(a), len(b)) < BOOTSTRAP_FROM or max(len(a), len(b)) > BOOTSTRAP_TO:
        return welch(a, b, level)
    return bootstrap(a, b, level)


def welch(a: Sequence[float], b: Sequence[float], level: float = 0.95) -> Interval:
    """Return Welch's interval of mean(a) - mean(b), with Satterthwaite's degrees of freedom."""
    share_a, share_b = variance(a) / len(a), variance(b) / len(b)
    estimate = fmean(a) - fmean(b)
    total = share_a + share_b
    if total == 0.0:  # all runs alike: no spread was seen, so none can be stated
        return Interval(estimate, -math.inf, math.inf, "welch-t", None)
    df = total * total / (share_a * share_a / (len(a) - 1) + share_b * share_b / (len(b) - 1))
    half = t_quantile(0.5 + level / 2.0, df) * math.sqrt(total)
    return Interval(estimate, estimate - half, estimate + half, "welch-t", df)


def bootstrap(
    a: Sequence[float], b: Sequence[float], level: float = 0.95, seed: int = 1
) -> Interval:
    """Return the bootstrap interval (BCa) of mean(a) - mean(b); the same for the same values.

    The order of the values does not matter: they are sorted first.
    """
    a, b = sorted(a), sorted(b)
    estimate = fmean(a) - fmean(b)
    chance = random.Random(seed)  # noqa: S311 - resampling, no secret
    drawn = sorted(
        fmean(chance.choices(a, k=len(a))) - fmean(chance.choices(b, k=len(b)))
        for _ in range(RESAMPLES)
    )
    if drawn[0] == drawn[-1]:  # the runs are all alike: no spread was seen
        return welch(a, b, level)
    below = sum(value < estimate for value in drawn) + 0.5 * drawn.count(estimate)
    if not 0.0 < below < RESAMPLES:  # all on one side: nothing to correct by
        return welch(a, b, level)
    normal = NormalDist()
    bias = normal.inv_cdf(below / RESAMPLES)
    skew = _acceleration(a, b)

    def edge(p: float) -> float:
        z = bias + normal.inv_cdf(p)
        share = normal.cdf(bias + z / (1.0 - skew * z))
        return quantile(drawn, share)

    tail = (1.0 - level) / 2.0
    return Interval(estimate, edge(tail), edge(1.0 - tail), "bootstrap")


def _acceleration(a: Sequence[float], b: Sequence[float]) -> float:
    """Return the acceleration from the jackknife of both groups."""
    influence = [*_influence(a), *(-value for value in _influence(b))]
    square = math.fsum(value * value for value in influence)
    if square == 0.0:
        return 0.0
    cube = math.fsum(value * value * value for value in influence)
    return cube / (6.0 * square * math.sqrt(square))


def _influence(values: Sequence[float]) -> list[float]:
    # Leaving out x moves the mean by (mean - x)/(n - 1); the n/n weight follows scipy's form.
    mean, n = fmean(values), len(values)
    return [(value - mean) / n for value in values]


def quantile(ordered: Sequence[float], share: float) -> float:
    """Return a quantile of sorted values, interpolated between neighbours."""
    position = min(1.0, max(0.0, share)) * (len(ordered) - 1)
    below = int(position)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (position - below) * (ordered[above] - ordered[below])
