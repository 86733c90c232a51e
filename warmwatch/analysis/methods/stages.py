"""Stages of a warm-up and their heating rates at one temperature.

The phases of single readings are joined to stages: a drive includes its halts, a stage of holds
includes the rests between them, because the heat of a hold reaches the sensor only during the rest.
Within one recording the stages happen at different temperatures, so their rates are compared by a
piecewise model with one shared loss term:

    rate = a(stage) - k * fluid temperature

which is a lumped mass, C dT/dt = heat(stage) - G (T - ambient), with one k = G/C for all stages.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import NormalDist

from warmwatch.analysis.methods.fit import least_squares
from warmwatch.analysis.methods.interval import Interval
from warmwatch.analysis.methods.run import Block, Stage
from warmwatch.core.hold import START_S

HALT_S = 120.0
"""A halt in a drive, or a rest between two holds, up to so long belongs to its stage."""
SETTLE_S = 120.0
"""After a change of stage heat is still on its way to the sensor: so much is left out."""
BLOCK_S = 120.0
SHORTEST_BLOCK_S = 60.0
LEAST_DF = 3
"""With fewer blocks to spare than this the model's intervals mean nothing."""
MODEL_C_PER_MIN = 0.15
"""A transmission is more than one mass: block rates scatter about the model by this at least."""
MODEL_SHARE = 0.2
"""One mass in place of several, and coolant that is warmer later, also shift a whole difference: by
so much of it, as a standard deviation, which no number of blocks makes smaller. Chosen on simulated
warm-ups and judged on others, see tests/evaluation/stages.py."""
_UNIFORM_SD = 1.0 / math.sqrt(12.0)
_IN_A_DRIVE = ("idle", "loaded", "unknown", "off")


@dataclass(frozen=True, slots=True)
class Point:
    """The mean of the good readings within a few seconds; `piece` counts up at each gap."""

    at_s: float
    fluid_c: float
    piece: int


def join(phases: Sequence[Stage]) -> tuple[Stage, ...]:
    """Return the stages of a run from its phases, both in order."""
    stages = _bridge([_settled(phase) for phase in phases], "driving", absorbs=_IN_A_DRIVE)
    return tuple(_bridge(stages, "loaded", absorbs=("idle", "unknown")))


def _settled(phase: Stage) -> Stage:
    """A burst of engine speed too short for a hold is part of idling."""
    burst = phase.kind == "loaded" and phase.to_s - phase.from_s < START_S
    return Stage("idle", phase.from_s, phase.to_s) if burst else phase


def _bridge(stages: Sequence[Stage], kind: str, absorbs: Sequence[str]) -> list[Stage]:
    """Join stages of a kind across short ones of other kinds."""
    joined: list[Stage] = []
    waiting: list[Stage] = []
    for stage in stages:
        last = joined[-1] if joined else None
        after_own = last is not None and last.kind == kind
        if after_own and stage.kind in absorbs:
            waiting.append(stage)
        elif last and after_own and stage.kind == kind and stage.from_s - last.to_s <= HALT_S:
            joined[-1], waiting = Stage(kind, last.from_s, stage.to_s), []
        else:
            joined += [*waiting, stage]
            waiting = []
    return _same_kinds_joined([*joined, *waiting])


def _same_kinds_joined(stages: Iterable[Stage]) -> list[Stage]:
    joined: list[Stage] = []
    for stage in stages:
        if joined and joined[-1].kind == stage.kind:
            joined[-1] = Stage(stage.kind, joined[-1].from_s, stage.to_s)
        else:
            joined.append(stage)
    return joined


def blocks(points: Sequence[Point], stages: Sequence[Stage]) -> tuple[Block, ...]:
    """Return the blocks of the measured stages, each inside one unbroken piece."""
    found: list[Block] = []
    for number, stage in enumerate(stages):
        if stage.kind in ("unknown", "off"):
            continue
        begin_s = stage.from_s + (SETTLE_S if number else 0.0)
        inside = [point for point in points if begin_s <= point.at_s <= stage.to_s]
        for piece in sorted({point.piece for point in inside}):
            found += _cut([point for point in inside if point.piece == piece], stage.kind)
    return tuple(found)


def _cut(points: Sequence[Point], kind: str) -> Iterable[Block]:
    span_s = points[-1].at_s - points[0].at_s
    if span_s < SHORTEST_BLOCK_S or len(points) < 3:
        return
    count = max(1, int(span_s // BLOCK_S))
    edges = [points[0].at_s + span_s * i / count for i in range(count + 1)]
    for low_s, high_s in pairwise(edges):
        part = [p for p in points if low_s <= p.at_s < high_s or p.at_s == high_s == edges[-1]]
        if len(part) >= 3:
            mean_s = math.fsum(p.at_s for p in part) / len(part)
            mean_c = math.fsum(p.fluid_c for p in part) / len(part)
            yield Block(kind, round(mean_s, 3), round(mean_c, 4), round(slope(part) * 60.0, 6))


def slope(points: Sequence[Point]) -> float:
    """Return the slope in degC/s of the straight line through the points (least squares)."""
    mean_s = math.fsum(p.at_s for p in points) / len(points)
    mean_c = math.fsum(p.fluid_c for p in points) / len(points)
    square = math.fsum((p.at_s - mean_s) ** 2 for p in points)
    if square == 0.0:
        return 0.0
    return math.fsum((p.at_s - mean_s) * (p.fluid_c - mean_c) for p in points) / square


@dataclass(frozen=True, slots=True)
class StageRate:
    """A stage's heating rate in degC/min at one temperature, from the model.

    `seen_low_c` to `seen_high_c` is where the stage itself was seen; outside it the shared loss
    term carries the rate, and `carried` says so.
    """

    kind: str
    blocks: int
    seen_low_c: float
    seen_high_c: float
    at_c: float
    rate: Interval
    carried: bool


@dataclass(frozen=True, slots=True)
class StageModel:
    """The model of one recording: rates by stage, the shared loss in 1/min, and differences."""

    at_c: float
    rates: tuple[StageRate, ...]
    loss_per_min: Interval
    differences: tuple[tuple[str, str, Interval], ...]


def stage_model(
    found: Sequence[Block], at_c: float | None = None, *, step_c: float = 0.0
) -> StageModel | None:
    """Fit the piecewise model to a run's blocks; None when they are too few to tell anything.

    `at_c` is where the rates are compared, by default the middle of all that was seen. `step_c` is
    the quantisation step of the readings: it blurs the slope of a block however smooth the steps
    look.
    """
    kinds = sorted({block.kind for block in found})
    if at_c is None and found:
        temps = [block.fluid_c for block in found]
        at_c = round((min(temps) + max(temps)) / 2.0)
    rows = [[*(float(b.kind == kind) for kind in kinds), b.fluid_c] for b in found]
    blur = _UNIFORM_SD * math.sqrt(2.0) * step_c / (BLOCK_S / 60.0)
    least = max(blur, MODEL_C_PER_MIN)
    fit = least_squares(rows, [b.rate_c_per_min for b in found], least_spread=least)
    if fit is None or at_c is None or fit.df < LEAST_DF:
        return None
    rates = []
    for number, kind in enumerate(kinds):
        own = [b.fluid_c for b in found if b.kind == kind]
        rate = fit.contrast([*(float(i == number) for i in range(len(kinds))), at_c])
        carried = not min(own) - 1.0 <= at_c <= max(own) + 1.0
        rates.append(StageRate(kind, len(own), min(own), max(own), at_c, rate, carried))
    differences = tuple(
        (one, other, _widened(fit.contrast([*_signs(i, j, len(kinds)), 0.0])))
        for i, one in enumerate(kinds)
        for j, other in enumerate(kinds)
        if i < j
    )
    loss = fit.contrast([0.0] * len(kinds) + [-1.0])
    return StageModel(at_c, tuple(rates), loss, differences)


def _widened(interval: Interval) -> Interval:
    """Return a difference's interval with what one lumped mass cannot know about it."""
    shift = NormalDist().inv_cdf(0.975) * MODEL_SHARE * interval.estimate
    half = math.hypot((interval.high - interval.low) / 2.0, shift)
    return replace(interval, low=interval.estimate - half, high=interval.estimate + half)


def _signs(plus: int, minus: int, size: int) -> list[float]:
    return [float(i == plus) - float(i == minus) for i in range(size)]


def climb(points: list[Point], levels: list[float]) -> tuple[float | None, ...]:
    """Return when each of the rising levels was first reached; None where that was not seen."""
    times: list[float | None] = [None] * len(levels)
    number = 0
    while number < len(levels) and points[0].fluid_c > levels[number]:
        number += 1
    if number < len(levels) and points[0].fluid_c == levels[number]:
        times[number] = round(points[0].at_s, 3)
        number += 1
    for before, after in pairwise(points):
        while number < len(levels) and after.fluid_c >= levels[number]:
            if before.piece == after.piece:
                share = (levels[number] - before.fluid_c) / (after.fluid_c - before.fluid_c)
                times[number] = round(before.at_s + share * (after.at_s - before.at_s), 3)
            number += 1
    return tuple(times)
