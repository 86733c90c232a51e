"""The learned correction of the ensemble: small trees that shift its quantiles.

The trees were learned from invented transmissions and from measured drives, and are scored on
others (docs/forecast.md). They are data, `correction.json`, for named features: a file
for other names is refused. They only compare and add, so every platform gets the same answer.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import exp
from typing import Any

import numpy as np
import numpy.typing as npt

from warmwatch.core.forecast.candidates import FEATURES

OUTPUTS = ("q10", "q50", "q90")
REACHED = "reached"
STATES = ("holds", "idle", "loaded", "driving", "off", "unknown")
"""What the vehicle does, as the features tell it: the intervals are widened for each."""
_FLAGS = tuple((FEATURES.index(state), state) for state in STATES)
_FORMAT = "warmwatch forecast correction"
_MOST_LOG = 2.5  # so far a quantile may be from the members' median


@dataclass(frozen=True, slots=True)
class Trees:
    """Sum of trees: arrays of shape (trees, nodes); `feature` is -1 in a leaf."""

    start: float
    feature: npt.NDArray[np.intp]
    split: npt.NDArray[np.float64]
    left: npt.NDArray[np.intp]
    right: npt.NDArray[np.intp]
    value: npt.NDArray[np.float64]
    depth: int

    def answer(self, found: Sequence[float]) -> float:
        """Return the sum of the leaves that the features `found` fall into."""
        values = np.asarray(found)
        tree = np.arange(len(self.feature))
        node = np.zeros(len(self.feature), dtype=np.intp)
        for _ in range(self.depth):
            feature = self.feature[tree, node]
            below = values[feature] <= self.split[tree, node]
            onward = np.where(below, self.left[tree, node], self.right[tree, node])
            node = np.where(feature < 0, node, onward)
        return self.start + float(self.value[tree, node].sum())


@dataclass(frozen=True, slots=True)
class Correction:
    """Trees for each of OUTPUTS; each gives the log of (time / ensemble's median).

    `spread` says for each of STATES how many times as wide the interval must be to hold its share
    of what was not learned. `reached` gives the log of the odds that the target is reached at all.
    """

    trees: tuple[Trees, ...]
    reached: Trees
    spread: Mapping[str, float]

    def answer(self, found: Sequence[float]) -> tuple[float, float, float]:
        """Return logs of q10, q50 and q90 over the ensemble's median, in order."""
        low, middle, high = (trees.answer(found) for trees in self.trees)
        wide = self.spread.get(state_of(found), 1.0)
        low = middle - wide * max(middle - low, 0.0)
        high = middle + wide * max(high - middle, 0.0)
        return _bounded(low), _bounded(middle), _bounded(high)

    def chance(self, found: Sequence[float]) -> float:
        """Return the chance that the target is reached, as `Forecast.chance` means it."""
        return 1.0 / (1.0 + exp(-self.reached.answer(found)))


def _bounded(log: float) -> float:
    return min(max(log, -_MOST_LOG), _MOST_LOG)


def state_of(found: Sequence[float]) -> str:
    """Return which of STATES the features tell."""
    return next((state for i, state in _FLAGS if found[i] == 1.0), STATES[-1])


def correction_from(mapping: Mapping[str, Any]) -> Correction:
    """Return the correction a mapping holds; ValueError for other features than ours."""
    if mapping.get("format") != _FORMAT or tuple(mapping.get("features", ())) != FEATURES:
        raise ValueError(f"not a {_FORMAT} for these features")
    trees = tuple(_trees(mapping[name]) for name in OUTPUTS)
    return Correction(trees, _trees(mapping[REACHED]), mapping.get("spread", {}))


def _trees(data: Mapping[str, Any]) -> Trees:
    trees = data["trees"]  # each a list of nodes: [feature, split, left, right] or [value]
    most = max(len(nodes) for nodes in trees)
    shape = (len(trees), most)
    feature, left, right = (np.full(shape, -1, dtype=np.intp) for _ in range(3))
    split, value = np.zeros(shape), np.zeros(shape)
    for i, nodes in enumerate(trees):
        for j, node in enumerate(nodes):
            if len(node) == 1:
                value[i, j] = node[0]
            else:
                feature[i, j], split[i, j], left[i, j], right[i, j] = node
    return Trees(float(data["start"]), feature, split, left, right, value, int(data["depth"]))


@cache
def learned() -> Correction:
    """Return the correction that comes with the program."""
    text = files("warmwatch.core.forecast").joinpath("correction.json").read_text(encoding="utf-8")
    return correction_from(json.loads(text))
