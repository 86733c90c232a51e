"""Cases, scores and their intervals."""

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from tests.evaluation.baselines import RULES
from tests.evaluation.curves import Curve
from warmwatch.core.forecast.forecaster import Forecast, Forecaster, Prior

HORIZONS_S = (600.0, 300.0, 180.0, 120.0, 60.0)
OURS = "warmwatch"


def wilson(successes: int, n: int, z: float = 1.959963984540054) -> tuple[float, float]:
    """Return the 95 % score interval of a share (Wilson 1927)."""
    if n == 0:
        return 0.0, 1.0
    p = successes / n
    middle = (p + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return max(middle - half, 0.0), min(middle + half, 1.0)


@dataclass(frozen=True, slots=True)
class Case:
    """One scored forecast; `truth_s` is the horizon, `answers` each rule's |error| / truth."""

    group: str
    curve: str
    target_c: float
    truth_s: float
    answers: dict[str, float]
    inside: bool
    forecast: Forecast


@dataclass(frozen=True, slots=True)
class Chance:
    """One moment: the chance given, and whether the target came before the record ended."""

    group: str
    curve: str
    chance: float
    arrived: bool


def score(
    curve: Curve, targets: Iterable[float], prior: Prior | None = None, *, rules: bool = True
) -> tuple[list[Case], list[Chance]]:
    """Return the scored forecasts and chances of one curve over all `targets`."""
    first = curve.rows[0].fluid_c
    asked: dict[int, list[tuple[float, float | None]]] = {}
    times = [r.elapsed_s for r in curve.rows]
    for target_c in targets:
        if target_c < first + 15.0:
            continue
        hit = curve.first_at(target_c)
        last = len(times) - 1 if hit is None else hit - 1
        _ask_chances(asked, times, target_c, last, curve.from_s)
        if (hit := curve.case(target_c)) is None:
            continue
        for horizon in HORIZONS_S:
            index = curve.before(hit, horizon)
            if index >= 1 and times[index] >= curve.from_s:
                _warm(asked, times, target_c, index)
                asked.setdefault(index, []).append((target_c, times[hit] - times[index]))
    return _run(curve, asked, prior, rules)


def _warm(
    asked: dict[int, list[tuple[float, float | None]]],
    times: list[float],
    target_c: float,
    index: int,
) -> None:
    """Ask once a second before a case as well (unscored, truth inf), as the program does."""
    second = -1
    for i in range(index - 1, -1, -1):
        if times[i] < times[index] - 120.0:
            break
        if int(times[i]) != second:
            second = int(times[i])
            asked.setdefault(i, []).append((target_c, inf))


def _ask_chances(
    asked: dict[int, list[tuple[float, float | None]]],
    times: list[float],
    target_c: float,
    last: int,
    from_s: float,
) -> None:
    when = max(times[0], from_s) + 60.0
    while when < min(times[last], times[0] + 3600.0):
        index = int(np.searchsorted(times, when, side="right")) - 1
        asked.setdefault(index, []).append((target_c, None))
        when += 60.0


def _run(
    curve: Curve,
    asked: dict[int, list[tuple[float, float | None]]],
    prior: Prior | None,
    rules: bool,
) -> tuple[list[Case], list[Chance]]:
    forecaster = Forecaster(prior)
    cases, chances = [], []
    times = np.array([r.elapsed_s for r in curve.rows])
    values = np.array([r.fluid_c for r in curve.rows])
    for i, row in enumerate(curve.rows):
        if row.fresh:
            forecaster.restart()
        row.feed(forecaster)
        for target_c, truth in asked.get(i, []):
            forecast = forecaster.to_edge(row.elapsed_s, target_c, "low")
            if truth == inf:
                continue
            if truth is None:
                arrived = curve.first_at(target_c) is not None
                chances.append(Chance(curve.group, curve.name, forecast.chance, arrived))
                continue
            answers = {OURS: inf if forecast.q50_s is None else forecast.q50_s}
            if rules:
                seen_t, seen_v = times[: i + 1], values[: i + 1]
                answers |= {name: rule(seen_t, seen_v, target_c) for name, rule in RULES.items()}
            horizon = min(HORIZONS_S, key=lambda h: abs(h - truth))
            inside = forecast.q10_s is not None and forecast.q10_s <= truth <= (
                inf if forecast.q90_s is None else forecast.q90_s
            )
            found = {k: abs(v - truth) / truth for k, v in answers.items()}
            cases.append(Case(curve.group, curve.name, target_c, horizon, found, inside, forecast))
    return cases, chances
