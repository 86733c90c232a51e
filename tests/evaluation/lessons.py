"""Turn simulated runs into lessons: what the forecaster sees, and what then happened."""

from dataclasses import dataclass
from math import log

import numpy as np
import numpy.typing as npt

from tests.evaluation.world import PHASES, STEP_S, STYLES, Seen, World, see, simulate
from warmwatch.core.forecast.features import features
from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.phase import Phase

Floats = npt.NDArray[np.float64]
FAR_S = 3600.0  # what takes longer than this is called "not reached"
SHARES = {"idle": 0.32, "holds": 0.28, "drive": 0.23, "mixed": 0.07, "heater": 0.1}


@dataclass(frozen=True, slots=True)
class Lessons:
    """Rows: features; `ratio` log(time / straight-line time), nan where never reached;
    `reached` 1/0 and nan where the moment was chosen by its outcome; `gain` log level ratio."""

    inputs: Floats
    ratio: Floats
    reached: Floats
    gain: Floats
    style: npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Moment:
    """One question to ask: at `when_s`, how long to `target`?"""

    when_s: float
    target: float
    hit_s: float | None
    natural: bool


def first_at(seen: Seen, target: float, start: int = 0) -> float | None:
    """Return when the readings first are at or above `target`."""
    for i in range(start, len(seen.values)):
        if seen.values[i] >= target:
            return seen.times[i]
    return None


def moments(rng: np.random.Generator, world: World, row: int, seen: Seen) -> list[Moment]:
    """Return the questions for one run, some by horizon and some at unchosen moments."""
    start, top = seen.values[0], max(seen.values)
    end = seen.times[-1]
    found: list[Moment] = []
    # Nobody drives for ever: whoever asks on the road may have arrived before the fluid is warm.
    drives = world.style == "drive"
    trip_end = float(np.exp(rng.uniform(log(900), log(5400)))) if drives else 1e9
    for n in range(6):
        if n % 2:  # a band is chosen from service information, not from what the run will do
            target = float(rng.uniform(max(start + 5.0, 35.0), max(105.0, start + 20.0)))
        else:
            target = float(rng.uniform(start + 3.0, max(top, start + 10.0) + 8.0))
        target = float(np.ceil(target)) if rng.random() < 0.8 else target
        hit = first_at(seen, target)
        if hit is None:
            after = world.fluid[row, int(end / STEP_S) :] >= target
            hit = end + float(np.argmax(after)) * STEP_S if after.any() else None
        stop = min(end, trip_end, hit - 5.0) if hit is not None else min(end, trip_end)
        if stop < 20:
            continue
        for when in rng.uniform(10, stop, 2):
            soon = hit if hit is not None and hit - when < FAR_S and hit < trip_end else None
            found.append(Moment(float(when), target, soon, True))
        if hit is None:
            continue
        for horizon in np.exp(rng.uniform(log(15), log(1500), 3)):
            if 10 < hit - horizon < end:
                found.append(Moment(hit - float(horizon), target, hit, False))
    return sorted(found, key=lambda m: m.when_s)


def lesson_rows(
    rng: np.random.Generator, world: World, row: int
) -> list[tuple[list[float], float, float, float]]:
    """Return the lessons of one run."""
    until = float(rng.uniform(600, 4500))
    seen = see(rng, world, row, until)
    asked = moments(rng, world, row, seen)
    hide = rng.random()
    forecaster = Forecaster()
    rows: list[tuple[list[float], float, float, float]] = []
    grid = np.minimum((np.array(seen.times) / STEP_S).astype(int), world.fluid.shape[1] - 1)
    phases = world.phase[row, grid]
    rpms = world.rpm[row, grid].tolist()
    speeds = world.speed[row, grid].tolist()
    coolants = np.round(world.coolant[row, grid]).tolist()
    vehicle = hide > 0.4 and world.style != "heater"
    coolant_known = vehicle and rng.random() < 0.5
    ambient = round(float(world.ambient[row] + rng.normal(0, 2))) if rng.random() < 0.3 else None
    rest = np.maximum.accumulate(world.fluid[row, ::-1])[::-1]
    dark = rng.uniform(0, until) if rng.random() < 0.15 else until  # engine values may fail a while
    light = dark + rng.uniform(5, 600)
    hole = rng.uniform(0, until) if rng.random() < 0.15 else until  # or everything for a while
    whole = hole + rng.uniform(8, 400)
    k = 0
    for i, now in enumerate(seen.times):
        while k < len(asked) and asked[k].when_s < now:
            if i > 1 and not hole < now < whole:
                rows.append(_ask(forecaster, asked[k], rest))
            k += 1
        if hole < now < whole:
            continue
        if now >= whole > hole + 1 and hole < until:
            forecaster.restart()
            hole = until
        told = vehicle and not dark < now < light
        forecaster.update(
            now,
            seen.values[i],
            phase=PHASES[phases[i]] if told else Phase.UNKNOWN,
            coolant_c=coolants[i] if coolant_known else None,
            ambient_c=ambient,
            engine_rpm=rpms[i] if told else None,
            speed_kmh=speeds[i] if told else None,
        )
    return [r for r in rows if r[0]]


def _ask(
    forecaster: Forecaster, moment: Moment, rest: Floats
) -> tuple[list[float], float, float, float]:
    track = forecaster._track
    level = track.level()
    target = track.target_level(moment.target, False)
    line_s, found = features(track, forecaster._context, target, level)
    if moment.hit_s is None:
        ratio = float("nan")
    else:
        ratio = log(max(moment.hit_s - track.now_s, 0.5) / line_s)
    reached = float(moment.hit_s is not None) if moment.natural else float("nan")
    most = float(rest[min(int(moment.when_s / STEP_S), rest.size - 1)])
    gain = log((max(most - level, 0.0) + 1.0) / (max(target - level, 0.0) + 1.0))
    return found, ratio, reached, gain


def make(seed: int, runs: int) -> Lessons:
    """Return the lessons of about `runs` runs over all styles."""
    rng = np.random.default_rng((seed, 99))
    rows: list[tuple[list[float], float, float, float]] = []
    styles: list[int] = []
    for style, share in SHARES.items():
        left = int(runs * share)
        block = 0
        while left > 0:
            n = min(left, 500)
            world = simulate(seed * 1000 + block, n, style)
            for row in range(n):
                rows += lesson_rows(rng, world, row)
            styles += [STYLES.index(style)] * (len(rows) - len(styles))
            left -= n
            block += 1
    return Lessons(
        np.array([r[0] for r in rows]),
        np.array([r[1] for r in rows]),
        np.array([r[2] for r in rows]),
        np.array([r[3] for r in rows]),
        np.array(styles),
    )
