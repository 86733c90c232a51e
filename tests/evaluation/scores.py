"""Score forecasts at every moment and for every target of a curve.

The error is |ln(said / true)|, at most ln 4, which is also what silence counts. Moments come every
30 s from the beginning of the way that is judged; targets every five degrees beyond the temperature
then that are reached. Every curve weighs the same.
"""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf, log, sqrt

import numpy as np

from tests.evaluation.curves import Curve
from tests.evaluation.peers import RULES, SLOW_RULES
from tests.evaluation.plants import LAWS
from warmwatch.core.forecast.forecaster import Forecast, Forecaster, Prior

OURS = "warmwatch"
EVERY_S, SLOW_EVERY_S = 30.0, 240.0
CAP = log(4.0)
BINS_S = ((60.0, 120.0), (120.0, 240.0), (240.0, 480.0), (480.0, 900.0), (900.0, inf))
WITHIN_S = 3600.0
_LEAST_S, _HOLDS_S, _FIRST_C, _TARGETS = 5.0, 10.0, 2.0, 10
COOLING = ("engine off", "cooling at idle", LAWS[1])


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
    falling = curve.group.startswith(COOLING)
    times = np.array([row.elapsed_s for row in curve.rows])
    values = np.array([row.fluid_c for row in curve.rows])
    began = int(np.searchsorted(times, curve.from_s))
    due = {target: _reached(times, values, began, target, falling)
           for target in _targets(values[began:], falling)}  # fmt: skip
    forecaster, found, ask_s = Forecaster(prior), [], times[began] + EVERY_S
    for i, row in enumerate(curve.rows):
        if row.fresh:
            forecaster.restart()
        row.feed(forecaster)
        if row.elapsed_s < ask_s or row.elapsed_s - times[began] > WITHIN_S:
            continue
        ask_s += EVERY_S
        for target, at_s in due.items():
            if at_s <= row.elapsed_s + _LEAST_S:
                continue
            said = forecaster.to_edge(row.elapsed_s, target, *(("high", "enter") if falling
                                                                else ("low", "enter")))  # fmt: skip
            since_s, truth_s = row.elapsed_s - times[began], at_s - row.elapsed_s
            errors = {}
            if np.isfinite(truth_s):
                errors[OURS] = error(said.q50_s, truth_s)
            if peers and errors:
                seen = times[: i + 1], values[: i + 1], min(began, i)
                rules = RULES | (SLOW_RULES if slow and since_s % SLOW_EVERY_S < EVERY_S else {})
                for name, rule in rules.items():
                    with warnings.catch_warnings():
                        warnings.simplefilter("ignore")  # a fit of a few steps is told to be poor
                        errors[name] = error(rule(*seen, target), truth_s)
            left_s = float(times[-1]) - row.elapsed_s
            found.append(Moment(curve.group, curve.name, since_s, truth_s, left_s, said, errors))
    return found


def _targets(values: "np.typing.NDArray[np.float64]", falling: bool) -> list[float]:
    """Return the targets that are reached, and two that are not, for the chance."""
    sign, first = (-1.0 if falling else 1.0), float(values[0])
    end = float(values.min() if falling else values.max())
    wanted = [5.0 * k for k in range(3, 22) if sign * (5.0 * k - first) >= _FIRST_C]
    wanted.sort(key=lambda target: sign * target)
    reached = [target for target in wanted if sign * (end - target) >= 0]
    return reached[-_TARGETS:] + wanted[len(reached) : len(reached) + 2]


def _reached(
    times: "np.typing.NDArray[np.float64]", values: "np.typing.NDArray[np.float64]",
    began: int, target: float, falling: bool,
) -> float:  # fmt: skip
    """Return when the target is first read after the way began and held for ten seconds."""
    there = values <= target if falling else values >= target
    for i in np.flatnonzero(there[began:]) + began:
        after = (times >= times[i]) & (times <= times[i] + _HOLDS_S)
        return float(times[i]) if there[after].mean() > 0.8 else inf
    return inf


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the table: each curve weighs the same."""

    name: str
    curves: int
    errors: dict[str, float]
    best: str
    ratio: tuple[float, float, float]
    middle: float
    inside: float
    silent: float


def summary(name: str, moments: Sequence[Moment]) -> Line | None:
    """Return the line for some moments; the ratio to the best peer with its 95 % interval."""
    curves: dict[str, list[Moment]] = {}
    for moment in moments:
        if moment.errors:
            curves.setdefault(moment.curve, []).append(moment)
    if not curves:
        return None
    names = list(dict.fromkeys(rule for m in moments for rule in m.errors))
    table = np.array([[_mean(some, rule) for rule in names] for some in curves.values()])
    means = np.nanmean(table, axis=0)
    errors = dict(zip(names, means.tolist(), strict=True))
    rivals = [rule for rule in names if rule != OURS]
    best = min(rivals, key=lambda rule: errors[rule]) if rivals else OURS
    ratio = _ratio(table[:, names.index(OURS)], table[:, names.index(best)])
    said = [m for some in curves.values() for m in some if m.forecast.q50_s is not None]
    logs = [log(max(m.forecast.q50_s or 1.0, 1.0) / m.truth_s) for m in said]
    inside = [np.mean([float(m.inside) for m in some if m.forecast.q50_s is not None] or [np.nan])
              for some in curves.values()]  # fmt: skip
    silent = np.mean([np.mean([m.forecast.q50_s is None for m in some])
                      for some in curves.values()])  # fmt: skip
    middle = float(np.median(logs)) if logs else inf
    return Line(
        name, len(curves), errors, best, ratio, middle, float(np.nanmean(inside)), float(silent)
    )


def _mean(some: Sequence[Moment], rule: str) -> float:
    found = [m.errors[rule] for m in some if rule in m.errors]
    return float(np.mean(found)) if found else np.nan


def _ratio(
    ours: "np.typing.NDArray[np.float64]", theirs: "np.typing.NDArray[np.float64]"
) -> tuple[float, float, float]:
    """Return the ratio of the mean errors, with its bootstrap interval over curves."""
    both = ~np.isnan(theirs)
    ours, theirs = ours[both], theirs[both]
    rng = np.random.default_rng(1)
    picks = rng.integers(0, len(ours), (2000, len(ours)))
    spread = ours[picks].mean(axis=1) / np.maximum(theirs[picks].mean(axis=1), 1e-9)
    low, high = np.quantile(spread, [0.025, 0.975])
    return float(ours.mean() / max(theirs.mean(), 1e-9)), float(low), float(high)


CHANCES = ((0.0, 0.05), (0.05, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 0.95), (0.95, 1.01))


def chances(moments: Sequence[Moment]) -> list[tuple[float, float, float, float, int]]:
    """Return for each class of chance: mean said, came, its 95 % interval, and how many moments.

    What came within the hour counts (three when cooling); records that end before are left out.
    """
    found = []
    for low, high in CHANCES:
        some = [(m.forecast.chance, m.truth_s <= _span_s(m)) for m in moments
                if low <= m.forecast.chance < high
                and (m.truth_s <= _span_s(m) or m.left_s >= _span_s(m))]  # fmt: skip
        if some:
            came = sum(arrived for _, arrived in some)
            said = sum(chance for chance, _ in some) / len(some)
            found.append((said, came / len(some), *wilson(came, len(some)), len(some)))
    return found


def _span_s(moment: Moment) -> float:
    return 3.0 * WITHIN_S if moment.forecast.falling else WITHIN_S
