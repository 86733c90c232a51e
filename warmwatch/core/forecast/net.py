"""The learned correction: from the features to quantiles, chance and the level where heating ends.

A small feed-forward net that uses only + - * / and sqrt, so every platform gets the same answer.
Its weights were learned from invented warm-ups (coupled masses, see docs/forecast.md), not from a
vehicle. It answers in ratios to the straight line.
"""

from dataclasses import dataclass
from math import sqrt
from operator import mul

from warmwatch.core.forecast.features import CANDIDATES
from warmwatch.core.forecast.net_weights import NETS, Layer

LEVELS = (0.1, 0.25, 0.5, 0.75, 0.9)
"""The probabilities of the quantiles in `Answer.ratios`, given that the edge is reached."""


@dataclass(frozen=True, slots=True)
class Answer:
    """`ratios` are logarithms of time / straight-line time at LEVELS; `chance` of reaching;
    `gain` is log((gain left + 1) / (gain wanted + 1)) with gains in K."""

    ratios: tuple[float, float, float, float, float]
    chance: float
    gain: float


def _plus(z: float) -> float:
    """Return a smooth positive part."""
    return 0.5 * (z + sqrt(z * z + 0.25))


def answer(found: list[float]) -> Answer:
    """Return the mean answer of the nets for one feature vector."""
    outs = [_outputs(layers, found) for layers in NETS]
    values = [sum(each) / len(outs) for each in zip(*outs, strict=True)]
    low2, low1, middle, high1, high2, chance, gain = values[:7]
    middle += sum(map(mul, values[7:], [found[i] for i in CANDIDATES]))
    q25 = middle - _plus(low1)
    q75 = middle + _plus(high1)
    return Answer(
        (q25 - _plus(low2), q25, middle, q75, q75 + _plus(high2)),
        0.5 * (1.0 + chance / sqrt(1.0 + chance * chance)),
        gain,
    )


def _outputs(layers: tuple[Layer, ...], found: list[float]) -> list[float]:
    values = found
    last = len(layers) - 1
    for k, (rows, offsets) in enumerate(layers):
        sums = [sum(map(mul, row, values), b) for row, b in zip(rows, offsets, strict=True)]
        values = sums if k == last else [z / (1.0 + abs(z)) for z in sums]
    return values
