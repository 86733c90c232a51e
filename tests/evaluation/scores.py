"""Score forecasts at every moment and for every target of a curve.

The error is |ln(said / true)|, at most ln 4, which is also what silence counts. Moments and targets
are those of `asked.py`. Every curve weighs the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf, log, sqrt

import numpy as np

from tests.evaluation.asked import arrays, asked, chance_span_s, falls
from tests.evaluation.curves import Curve
from tests.evaluation.peers import FITTED, RULES
from warmwatch.core.forecast.forecaster import Forecast, Forecaster, Prior

OURS = "warmwatch"
SLOW_FROM_S, SLOW_SHARE = 60.0, 1.5
"""What is fitted anew is asked ever more rarely, and compared at those moments."""
CAP = log(4.0)
BINS_S = ((60.0, 120.0), (120.0, 240.0), (240.0, 480.0), (480.0, 900.0), (900.0, inf))


def wilson(successes: int, n: int, z: float = 1.959963984540054) -> tuple[float, float]:
    """Return the 95 % score interval of a share (Wilson 1927)."""
    if n == 0:
        return 0.0, 1.0
    p = successes / n
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return max(middle - half, 0.0), min(middle + half, 1.0)


def error(said_s: float | None, truth_s: float) -> float:
    """Return |ln(said / true)|, at most CAP, which silence counts."""
    if said_s is None or not np.isfinite(said_s):
        return CAP
    return min(abs(log(max(said_s, 1.0) / truth_s)), CAP)


@dataclass(frozen=True, slots=True)
class Moment:
    """One forecast and what came; `truth_s` is infinite where the target never came.

    `left_s` is how long the record goes on. `errors` holds each rule's error where it was reached.
    """

    group: str
    curve: str
    since_s: float
    truth_s: float
    left_s: float
    forecast: Forecast
    errors: dict[str, float] = field(default_factory=dict)

    @property
    def inside(self) -> bool:
        """Whether the truth is inside q10 to q90."""
        q10, q90 = self.forecast.q10_s, self.forecast.q90_s
        return q10 is not None and q90 is not None and q10 <= self.truth_s <= q90


def follow(
    curve: Curve, prior: Prior | None = None, *, peers: bool = True, slow: bool = True
) -> list[Moment]:
    """Return the scored moments of one curve."""
    falling, (times, values, began) = falls(curve), arrays(curve)
    edge, to = ("high", "enter") if falling else ("low", "enter")
    forecaster, found, slow_s = Forecaster(prior), [], SLOW_FROM_S
    for at, since_s, due in asked(curve, forecaster):
        rules = dict(RULES) if peers else {}
        seen = times[: at + 1], values[: at + 1], min(began, at)
        if peers and slow and since_s >= slow_s:
            slow_s = SLOW_SHARE * since_s
            rules |= {name: fitted(*seen) for name, fitted in FITTED.items()}
        left_s = float(times[-1] - times[at])
        for target, truth_s in due:
            said = forecaster.to_edge(float(times[at]), target, edge, to)
            errors = {}
            if np.isfinite(truth_s):
                errors[OURS] = error(said.q50_s, truth_s)
                errors |= {name: error(rule(*seen, target), truth_s)
                           for name, rule in rules.items()}  # fmt: skip
            found.append(Moment(curve.group, curve.name, since_s, truth_s, left_s, said, errors))
    return found


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the table: each curve weighs the same.

    `ratios` holds our error over each peer's, at the moments when both were asked, with its 95 %
    bootstrap interval over curves.
    """

    name: str
    curves: int
    errors: dict[str, float]
    ratios: dict[str, tuple[float, float, float]]
    middle: float
    inside: float
    silent: float

    @property
    def best(self) -> str:
        """The peer that comes nearest to us, or ahead."""
        return max(self.ratios, key=lambda rule: self.ratios[rule][0], default=OURS)


def summary(name: str, moments: Sequence[Moment]) -> Line | None:
    """Return the line for some moments; None where none of them can be scored."""
    curves: dict[str, list[Moment]] = {}
    for moment in moments:
        if moment.errors:
            curves.setdefault(moment.curve, []).append(moment)
    if not curves:
        return None
    each = list(curves.values())
    names = list(dict.fromkeys(rule for m in moments for rule in m.errors))
    errors = {rule: float(np.nanmean([_mean(some, rule) for some in each])) for rule in names}
    ratios = {rule: _ratio(each, rule) for rule in names if rule != OURS}
    said = [m for some in each for m in some if m.forecast.q50_s is not None]
    logs = [log(max(m.forecast.q50_s or 1.0, 1.0) / m.truth_s) for m in said]
    inside = [np.mean([float(m.inside) for m in some if m.forecast.q50_s is not None] or [np.nan])
              for some in each]  # fmt: skip
    silent = np.mean([np.mean([m.forecast.q50_s is None for m in some]) for some in each])
    middle = float(np.median(logs)) if logs else inf
    return Line(name, len(each), errors, ratios, middle, float(np.nanmean(inside)), float(silent))


def _mean(some: Sequence[Moment], rule: str, beside: str = OURS) -> float:
    """Return the mean error of `rule` where `beside` was asked, too."""
    found = [m.errors[rule] for m in some if rule in m.errors and beside in m.errors]
    return float(np.mean(found)) if found else np.nan


def _ratio(each: Sequence[Sequence[Moment]], rule: str) -> tuple[float, float, float]:
    """Return the ratio of our mean error to that of `rule`, with its bootstrap interval."""
    pairs = np.array([(_mean(some, OURS, rule), _mean(some, rule)) for some in each])
    ours, theirs = pairs[~np.isnan(pairs[:, 1])].T
    rng = np.random.default_rng(1)
    picks = rng.integers(0, len(ours), (2000, len(ours)))
    spread = ours[picks].mean(axis=1) / np.maximum(theirs[picks].mean(axis=1), 1e-9)
    low, high = np.quantile(spread, [0.025, 0.975])
    return float(ours.mean() / max(theirs.mean(), 1e-9)), float(low), float(high)


CHANCES = ((0.0, 0.05), (0.05, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 0.95), (0.95, 1.01))


def chances(moments: Sequence[Moment]) -> list[tuple[float, float, float, float, int]]:
    """Return for each class of chance: mean said, came, its 95 % interval, and how many moments.

    What came within the hour counts (three when cooling); moments after which the record does not
    go on for so long are left out, whether it came or not. The targets that did not come are the
    two just beyond the end, so these are the hardest questions of their kind.
    """
    found = []
    for low, high in CHANCES:
        some = [(m.forecast.chance, m.truth_s <= _span_s(m)) for m in moments
                if low <= m.forecast.chance < high and m.left_s >= _span_s(m)]  # fmt: skip
        if some:
            came = sum(arrived for _, arrived in some)
            said = sum(chance for chance, _ in some) / len(some)
            found.append((said, came / len(some), *wilson(came, len(some)), len(some)))
    return found


def _span_s(moment: Moment) -> float:
    return chance_span_s(falling=moment.forecast.falling)
