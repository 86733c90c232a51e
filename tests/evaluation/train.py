"""Learn the correction of the ensemble: `nice python -m tests.evaluation.train CURVES_DIR`.

Learned on the invented families that are not scored and on measured curves. Each curve weighs the
same. With `--without GROUP` a measured group is left out, to be scored afterwards.

How wide the intervals must be is learned where nothing else was: the trees are learned anew without
one part (a family, or the measured car), and asked about it. Newton's law alone, coolant and engine
oil are no transmissions, so they count less.

The chance is learned on the invented families alone: a measured curve ends somewhere, and does not
say what would have come. Writes `warmwatch/core/forecast/correction.json`;
seeds are fixed.
"""

import argparse
import json
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from math import inf, isnan, nan
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tests.evaluation.asked import asked, chance_span_s, falls
from tests.evaluation.curves import Curve, measured, read
from tests.evaluation.families import LAWS, LEARNED_ON
from tests.evaluation.plants import KINDS, many
from warmwatch.core.forecast.answers import members_of
from warmwatch.core.forecast.candidates import FEATURES, features
from warmwatch.core.forecast.correction import (
    OUTPUTS,
    REACHED,
    STATES,
    correction_from,
    state_of,
)
from warmwatch.core.forecast.forecaster import Forecaster

FILE = Path(__file__).parents[2] / "warmwatch" / "core" / "forecast" / "correction.json"
QUANTILES = (0.1, 0.5, 0.9)
TREES, LEAVES, RATE, LEAST = 200, 12, 0.08, 60
INSIDE = 0.8
_A_CURVE, _A_CURVE_FOR_CHANCE = 60, 150  # moments taken of each, at random
_MOST_LOG = 2.0
_LESS_WEIGHT, _LAW_WEIGHT = 0.3, 3.0
_WIDTHS = np.arange(0.6, 3.01, 0.05)
CAR = "driving, one car"
TAUGHT = (CAR, "coolant, driving", "coolant, town", "aircraft oil")
TRANSMISSIONS = {*LEARNED_ON, CAR}
SAME_CAR = {CAR: {CAR, "coolant, driving"}}
"""What goes with a part: the coolant of the same drives."""


@dataclass(frozen=True, slots=True)
class Lesson:
    """Features of a moment, and the log of (what came / the ensemble's median).

    `part` is what is left out together: a family, or a measured group. `came` says whether the
    target was reached in the time that `Forecast.chance` speaks of; the log is NaN where it never
    was.
    """

    group: str
    part: str
    curve: str
    found: list[float]
    answer: float
    came: bool


def lessons(make: Callable[[], list[Curve]]) -> tuple[list[Lesson], list[Lesson]]:
    """Return lessons at random moments of each curve: for the times, and for the chance."""
    times, chances = [], []
    for curve in make():
        all_ = list(_all_lessons(curve))
        times += _picked([lesson for lesson in all_ if not isnan(lesson.answer)], _A_CURVE)
        if curve.group.endswith(LEARNED_ON) and not curve.group.startswith(LAWS):
            chances += _picked(all_, _A_CURVE_FOR_CHANCE)
    return times, chances


def _picked(some: Sequence[Lesson], most: int) -> list[Lesson]:
    return [some[i] for i in np.random.default_rng(1).permutation(len(some))[:most]]


def _all_lessons(curve: Curve) -> Iterable[Lesson]:
    forecaster, falling = Forecaster(), falls(curve)
    follower = forecaster._follower
    part = curve.group.rpartition(", ")[2] if curve.group.endswith(LEARNED_ON) else curve.group
    for _, _, due in asked(curve, forecaster):
        if not forecaster._seen():
            continue
        track, context = follower.track, follower.context
        level, ahead = track.level(), follower.ahead(context.ahead())
        for target_c, truth_s in due:
            target = track.target_level(target_c, falling)
            members = members_of(ahead, target, falling, context.phase)
            x = features(track, context, level, target, -1.0 if falling else 1.0, members)
            y = float(np.clip(np.log(truth_s / members.q50), -_MOST_LOG, _MOST_LOG))
            came = truth_s <= chance_span_s(falling=falling)
            yield Lesson(curve.group, part, curve.name, x, nan if truth_s == inf else y, came)


def learn(some: Sequence[Lesson], chances: Sequence[Lesson]) -> dict[str, Any]:
    """Return the mapping that `correction_from` reads: trees, and how much wider they must be."""
    reached = {REACHED: fit_chance(chances)}
    data = fit(some) | reached
    asides: list[tuple[str, float, float]] = []
    for part in TRANSMISSIONS & {lesson.part for lesson in some}:
        others = [lesson for lesson in some if lesson.part not in SAME_CAR.get(part, {part})]
        aside = [lesson for lesson in some if lesson.part == part]
        asides += _needed(fit(others) | reached, aside)
    data["spread"] = {state: _width([a for a in asides if a[0] == state]) for state in STATES}
    return data


def _needed(data: dict[str, Any], aside: Sequence[Lesson]) -> list[tuple[str, float, float]]:
    """Return for each lesson its state, the factor that would just hold it, and its weight."""
    correction = correction_from(data)
    weights, found = _weights(aside), []
    for lesson, weight in zip(aside, weights, strict=True):
        if lesson.group.startswith(LAWS):
            continue
        low, middle, high = correction.answer(lesson.found)
        side = high - middle if lesson.answer > middle else middle - low
        factor = abs(lesson.answer - middle) / max(side, 1e-3)
        found.append((state_of(lesson.found), factor, float(weight)))
    return found


def _width(asides: Sequence[tuple[str, float, float]]) -> float:
    """Return the least factor that holds INSIDE of what was left out; 1 where nothing was."""
    if not asides:
        return 1.0
    factors, weights = (np.array([a[i] for a in asides]) for i in (1, 2))
    held = [float(weights[factors <= width].sum() / weights.sum()) for width in _WIDTHS]
    return round(float(_WIDTHS[min(int(np.searchsorted(held, INSIDE)), len(_WIDTHS) - 1)]), 2)


def _weights(some: Sequence[Lesson]) -> npt.NDArray[np.float64]:
    counts: dict[str, int] = {}
    for lesson in some:
        counts[lesson.curve] = counts.get(lesson.curve, 0) + 1
    weight: npt.NDArray[np.float64] = np.array([
        _weight(lesson) / counts[lesson.curve] for lesson in some
    ])  # fmt: skip
    return weight / float(weight.mean())


def _weight(lesson: Lesson) -> float:
    if lesson.group.startswith(LAWS):
        return _LAW_WEIGHT
    return 1.0 if lesson.part in TRANSMISSIONS else _LESS_WEIGHT


def fit(some: Sequence[Lesson]) -> dict[str, Any]:
    """Return the trees alone."""
    from sklearn.ensemble import HistGradientBoostingRegressor

    x = np.array([lesson.found for lesson in some])
    y = np.array([lesson.answer for lesson in some])
    data: dict[str, Any] = {"format": "warmwatch forecast correction", "features": list(FEATURES)}
    for name, quantile in zip(OUTPUTS, QUANTILES, strict=True):
        model = HistGradientBoostingRegressor(
            loss="quantile", quantile=quantile, max_iter=TREES, max_leaf_nodes=LEAVES,
            learning_rate=RATE, min_samples_leaf=LEAST, l2_regularization=1.0,
            early_stopping=False, random_state=0,
        )  # fmt: skip
        model.fit(x, y, sample_weight=_weights(some))
        data[name] = _trees(model)
    return data


def fit_chance(some: Sequence[Lesson]) -> dict[str, Any]:
    """Return trees for the log of the odds; more members that reach it never lower them."""
    from sklearn.ensemble import HistGradientBoostingClassifier

    model = HistGradientBoostingClassifier(
        max_iter=TREES, max_leaf_nodes=LEAVES, learning_rate=RATE, min_samples_leaf=LEAST,
        l2_regularization=1.0, early_stopping=False, random_state=0,
        monotonic_cst=[_ALONG.get(name, 0) for name in FEATURES],
    )  # fmt: skip
    came = np.array([lesson.came for lesson in some])
    model.fit(np.array([lesson.found for lesson in some]), came, sample_weight=_weights(some))
    return _trees(model)


_ALONG = {"reaching": 1, "within": 1, "left": -1}


def _trees(model: Any) -> dict[str, Any]:
    trees, depth = [], 0
    for (predictor,) in model._predictors:
        nodes = predictor.nodes
        depth = max(depth, int(nodes["depth"].max()))
        trees.append([
            [round(float(n["value"]), 5)] if n["is_leaf"]
            else [int(n["feature_idx"]), float(f"{n['num_threshold']:.5g}"),
                  int(n["left"]), int(n["right"])]
            for n in nodes
        ])  # fmt: skip
    return {
        "start": round(float(model._baseline_prediction[0, 0]), 5),
        "depth": depth,
        "trees": trees,
    }


def _read(path: Path, group: str) -> list[Curve]:
    curve = read(path, group)
    return [curve] if len(curve.rows) > 60 else []


def main() -> None:
    """Learn, and write the file."""
    parser = argparse.ArgumentParser(prog="python -m tests.evaluation.train", description=__doc__)
    parser.add_argument("curves", type=Path)
    parser.add_argument("--runs", type=int, default=40)
    parser.add_argument("--without", default="", help="a measured group to leave out")
    parser.add_argument("-o", "--output", type=Path, default=FILE)
    options = parser.parse_args()
    makes = [partial(many, kind, family, 1, 9000 + 1000 * i) for family in LEARNED_ON
             for kind in (*KINDS, *(LAWS if family == LEARNED_ON[0] else ()))
             for i in range(options.runs)]  # fmt: skip
    makes += [partial(_read, path, group) for path, group in measured(options.curves)
              if group in TAUGHT and group not in SAME_CAR.get(options.without, {options.without})
              ]  # fmt: skip
    with ProcessPoolExecutor(2) as pool:
        both = list(pool.map(lessons, makes))
    times, chances = ([lesson for each in both for lesson in each[i]] for i in (0, 1))
    text = json.dumps(learn(times, chances), separators=(",", ":"))
    options.output.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
