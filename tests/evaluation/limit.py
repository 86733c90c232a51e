"""How well anybody could do: `python -m tests.evaluation.limit [CURVES_DIR]`.

Two bounds that no forecast can be blamed for missing:

- of the simulated stationary warm-ups, the same kind of net trained on further runs of exactly the
  generator it is scored on: it knows the odds of every vehicle and pattern, as nobody can;
- of the measured drives, a straight line at the mean rate from 600 s before to 600 s after the
  question: it knows the road ahead and errs only by what the steps and the stops do.
"""

import argparse
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from math import log
from pathlib import Path

import numpy as np

from tests.evaluation.curves import Curve, measured
from tests.evaluation.lessons import Lessons
from tests.evaluation.scores import HORIZONS_S
from tests.evaluation.stationary import KINDS, one
from tests.evaluation.train import forward, quantiles, train
from warmwatch.core.forecast.features import features
from warmwatch.core.forecast.forecaster import Forecaster

RUNS, FIRST_SEED, SCORED = 1500, 10_000, 120
TARGETS = (50.0, 60.0, 70.0, 80.0)
DRIVE_TARGETS = (60.0, 70.0)
_AROUND_S = 600.0
Row = tuple[list[float], float, float]


def rows(curve: Curve, targets: Sequence[float], horizons: Sequence[float]) -> Iterator[Row]:
    """Yield features, straight-line time and true time for each question to one curve."""
    asked: dict[int, list[tuple[float, float]]] = {}
    times = [r.elapsed_s for r in curve.rows]
    for target in targets:
        if (hit := curve.case(target)) is None:
            continue
        for horizon in horizons:
            index = curve.before(hit, horizon)
            if index >= 20 and times[index] >= curve.from_s:
                asked.setdefault(index, []).append((target, times[hit] - times[index]))
    forecaster = Forecaster()
    for i, row in enumerate(curve.rows[: max(asked, default=-1) + 1]):
        row.feed(forecaster)
        for target, truth_s in asked.get(i, []):
            track = forecaster._track
            edge, level = track.target_level(target, False), track.level()
            line_s, found = features(track, forecaster._context, edge, level)
            yield found, line_s, truth_s


def _learned(job: tuple[str, int]) -> list[Row]:
    kind, seed = job
    rng = np.random.default_rng((seed, KINDS.index(kind)))
    targets = np.ceil(rng.uniform(40.0, 95.0, 6)).tolist()
    return list(rows(one(seed, kind), targets, np.exp(rng.uniform(log(40), log(1000), 6)).tolist()))


def _scored(job: tuple[str, int]) -> list[Row]:
    return list(rows(one(job[1], job[0]), TARGETS, HORIZONS_S))


def same_odds(kind: str, pool: ProcessPoolExecutor) -> dict[float, float]:
    """Return the median |error| / truth at each horizon of a net trained on this very generator."""
    seeds = range(FIRST_SEED, FIRST_SEED + RUNS)
    known = [r for rs in pool.map(_learned, [(kind, s) for s in seeds], chunksize=20) for r in rs]
    asked = [r for rs in pool.map(_scored, [(kind, s) for s in range(SCORED)]) for r in rs]
    ratio = np.array([log(truth / line) for _, line, truth in known])
    n = len(known)
    lessons = Lessons(
        np.array([r[0] for r in known]), ratio, np.full(n, np.nan), np.zeros(n),
        np.zeros(n, dtype=np.int64),
    )  # fmt: skip
    weights = train(lessons, (24, 16), 60, 1)
    inputs = np.array([r[0] for r in asked])
    middle = quantiles(forward(weights, inputs)[1][-1], inputs)[:, 2]
    return _medians([(t, line * np.exp(m)) for m, (_, line, t) in zip(middle, asked, strict=True)])


def informed(curves: Sequence[Curve]) -> dict[float, float]:
    """Return the same for the line at the mean rate around the question, future included."""
    pairs = []
    for curve in curves:
        times = np.array([r.elapsed_s for r in curve.rows])
        values = np.array([r.fluid_c for r in curve.rows])
        for target in DRIVE_TARGETS:
            if (hit := curve.case(target)) is None:
                continue
            for horizon in HORIZONS_S:
                now = times[hit] - horizon
                near = np.abs(times - now) <= _AROUND_S
                if now < times[0] or near.sum() < 60:
                    continue
                slope, level = np.polyfit(times[near] - now, values[near] + 0.5, 1)
                if slope > 0:
                    pairs.append((horizon, max((target - level) / slope, 0.0)))
    return _medians(pairs)


def _medians(pairs: Sequence[tuple[float, float]]) -> dict[float, float]:
    found: dict[float, list[float]] = {}
    for truth, answer in pairs:
        horizon = min(HORIZONS_S, key=lambda h: abs(h - truth))
        found.setdefault(horizon, []).append(abs(answer - truth) / truth)
    return {h: float(np.median(found[h])) for h in HORIZONS_S if h in found}


def _line(name: str, medians: dict[float, float]) -> str:
    return f"| {name} | " + " | ".join(f"{medians[h]:.1%}" for h in HORIZONS_S) + " |"


def main() -> None:
    """Print the bounds."""
    parser = argparse.ArgumentParser(prog="python -m tests.evaluation.limit", description=__doc__)
    parser.add_argument("curves", nargs="?", type=Path, help="folder of measured curves")
    options = parser.parse_args()
    print("| bound | " + " | ".join(f"{h:.0f} s" for h in HORIZONS_S) + " |")
    with ProcessPoolExecutor(2) as pool:
        for kind in KINDS:
            print(_line(f"odds known: {kind}", same_odds(kind, pool)), flush=True)
    if options.curves:
        drives = [c for c in measured(options.curves) if c.group.startswith("drivers")]
        print(_line("road known: all drivers", informed(drives)))


if __name__ == "__main__":
    main()
