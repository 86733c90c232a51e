"""Learn the correction of the ensemble: `nice python -m tests.evaluation.train CURVES_DIR`.

Learned on invented transmissions of the family THREE and on measured curves; FOUR is only scored.
Each curve weighs the same. With `--without GROUP` the measured group is left out and scored.
Writes `warmwatch/core/forecast/correction.json`; seeds are fixed.
"""

import argparse
import json
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from tests.evaluation.curves import Curve, measured, read
from tests.evaluation.plants import KINDS, LAWS, many
from tests.evaluation.scores import COOLING, EVERY_S, WITHIN_S, _reached, _targets
from warmwatch.core.forecast.candidates import FEATURES, features
from warmwatch.core.forecast.correction import OUTPUTS
from warmwatch.core.forecast.forecaster import Forecaster, _members

FILE = Path(__file__).parents[2] / "warmwatch" / "core" / "forecast" / "correction.json"
QUANTILES = (0.1, 0.5, 0.9)
TREES, LEAVES, RATE, LEAST = 100, 8, 0.08, 60
_A_CURVE = 60  # moments taken of each, at random
_MOST_LOG = 2.0
_LAW_WEIGHT = 0.3  # no transmission follows one law alone


@dataclass(frozen=True, slots=True)
class Lesson:
    """Features of a moment, and the log of (what came / the ensemble's median)."""

    group: str
    curve: str
    found: list[float]
    answer: float
    since_s: float = 0.0
    truth_s: float = 0.0


def lessons(make: Callable[[], list[Curve]]) -> list[Lesson]:
    """Return lessons at random moments of each curve."""
    found = []
    for curve in make():
        all_ = _all_lessons(curve)
        picks = np.random.default_rng(1).permutation(len(all_))[:_A_CURVE]
        found += [all_[i] for i in picks]
    return found


def _all_lessons(curve: Curve) -> list[Lesson]:
    falling = curve.group.startswith(COOLING)
    times = np.array([row.elapsed_s for row in curve.rows])
    values = np.array([row.fluid_c for row in curve.rows])
    began = int(np.searchsorted(times, curve.from_s))
    due = {t: _reached(times, values, began, t, falling) for t in _targets(values[began:], falling)}
    forecaster, found, ask_s = Forecaster(), [], times[began] + EVERY_S
    follower = forecaster._follower
    for row in curve.rows:
        if row.fresh:
            forecaster.restart()
        row.feed(forecaster)
        if row.elapsed_s < ask_s or row.elapsed_s - times[began] > WITHIN_S:
            continue
        ask_s += EVERY_S
        track, context = follower.track, follower.context
        level, ahead = track.level(), None
        for target_c, at_s in due.items():
            truth_s = at_s - row.elapsed_s
            if not 8.0 < truth_s < 2.0 * WITHIN_S or not forecaster._seen():
                continue
            ahead = ahead or follower.ahead(context.ahead())
            target = track.target_level(target_c, falling)
            members = _members(ahead, target, falling, context.phase)
            sign = -1.0 if falling else 1.0
            x = features(track, context, level, target, sign, members)
            y = float(np.clip(np.log(truth_s / members.q50), -_MOST_LOG, _MOST_LOG))
            since_s = row.elapsed_s - times[began]
            found.append(Lesson(curve.group, curve.name, x, y, float(since_s), float(truth_s)))
    return found


def fit(some: Sequence[Lesson]) -> dict[str, Any]:
    """Return the mapping that `correction_from` reads."""
    from sklearn.ensemble import HistGradientBoostingRegressor

    counts: dict[str, int] = {}
    for lesson in some:
        counts[lesson.curve] = counts.get(lesson.curve, 0) + 1
    weight = np.array([
        (_LAW_WEIGHT if lesson.group.startswith(LAWS) else 1.0) / counts[lesson.curve]
        for lesson in some
    ])  # fmt: skip
    x = np.array([lesson.found for lesson in some])
    y = np.array([lesson.answer for lesson in some])
    data: dict[str, Any] = {"format": "warmwatch forecast correction", "features": list(FEATURES)}
    for name, quantile in zip(OUTPUTS, QUANTILES, strict=True):
        model = HistGradientBoostingRegressor(
            loss="quantile", quantile=quantile, max_iter=TREES, max_leaf_nodes=LEAVES,
            learning_rate=RATE, min_samples_leaf=LEAST, l2_regularization=1.0,
            early_stopping=False, random_state=0,
        )  # fmt: skip
        model.fit(x, y, sample_weight=weight / weight.mean())
        data[name] = _trees(model)
    return data


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
    parser.add_argument("--runs", type=int, default=16)
    parser.add_argument("--without", default="", help="a measured group to leave out")
    parser.add_argument("-o", "--output", type=Path, default=FILE)
    options = parser.parse_args()
    makes = [partial(many, kind, "three", 1, 9000 + 1000 * i) for kind in (*KINDS, *LAWS)
             for i in range(options.runs)]  # fmt: skip
    taught = ("driving, one car", "coolant, driving", "coolant, town", "aircraft oil")
    makes += [partial(_read, path, group) for path, group in measured(options.curves)
              if group in taught and group != options.without]  # fmt: skip
    with ProcessPoolExecutor(2) as pool:
        some = [lesson for each in pool.map(lessons, makes) for lesson in each]
    text = json.dumps(fit(some), separators=(",", ":"))
    options.output.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
