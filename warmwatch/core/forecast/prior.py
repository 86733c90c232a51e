"""What earlier recordings taught: the vehicle's own place among the plausible transmissions.

The ensemble is run through the recordings one after the other, and its parameters carried from one
to the next. What is kept is their mean and covariance, and how the time was spent.
"""

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from warmwatch.core.forecast.ensemble import CASE, NAMES, Doing, Ensemble
from warmwatch.core.phase import Phase

VERSION = 2
FORMAT = "warmwatch forecast prior"
BETWEEN = 0.15
"""Log units by which one day differs from the next."""
_LEAST_MOVED_C = 6.0
_KNOWN_SHARE = 0.05
_MOST_STEP_S = 10.0
_SHOWN_AIR_C, _HOT_C, _WARM_C = 20.0, 95.0, 88.0


class Point(NamedTuple):
    """One good reading of a recording."""

    elapsed_s: float
    fluid_c: float
    phase: Phase = Phase.UNKNOWN
    coolant_c: float | None = None
    ambient_c: float | None = None
    engine_rpm: float | None = None
    speed_kmh: float | None = None


@dataclass(frozen=True, slots=True)
class Prior:
    """A vehicle's parameters: means and covariance of their logs, in the order of NAMES.

    `shares` say how much of the time the runs spent in each way (empty when unknown).
    """

    means: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    runs: int
    shares: Mapping[str, float]

    def knows(self, phase: Phase) -> bool:
        """Whether the recordings show this way."""
        return bool(self.runs) and self.shares.get(phase.value, 0.0) >= _KNOWN_SHARE

    def to_mapping(self) -> dict[str, Any]:
        """Return a JSON-able mapping that `from_mapping` reads."""
        return {
            "format": FORMAT,
            "version": VERSION,
            "parameters": list(NAMES),
            "means": [round(m, 4) for m in self.means],
            "covariance": [[round(c, 5) for c in row] for row in self.covariance],
            "runs": self.runs,
            "shares": {k: round(v, 4) for k, v in self.shares.items()},
        }

    @classmethod
    def from_mapping(cls, mapping: Mapping[str, Any]) -> "Prior":
        """Return the prior a mapping holds; raises ValueError when it is none of this version."""
        try:
            if mapping["format"] != FORMAT:
                raise ValueError(f"not a {FORMAT}")
            if mapping["version"] == 1:  # a profile of another model: nothing in it fits this one
                return cls((), (), 0, {})
            if mapping["version"] != VERSION or tuple(mapping["parameters"]) != NAMES:
                raise ValueError(f"not a {FORMAT} of version {VERSION}")
            prior = cls(
                tuple(float(m) for m in mapping["means"]),
                tuple(tuple(float(c) for c in row) for row in mapping["covariance"]),
                int(mapping["runs"]),
                {str(k): float(v) for k, v in mapping["shares"].items()},
            )
        except (KeyError, TypeError, AttributeError, OverflowError) as error:
            raise ValueError(f"not a {FORMAT}: {error}") from error
        if not _sound(prior):
            raise ValueError(f"not a {FORMAT}: its numbers are out of range")
        return prior


def _sound(prior: Prior) -> bool:
    if not prior.runs and not prior.means:
        return True
    size = len(NAMES)
    if len(prior.means) != size or [len(row) for row in prior.covariance] != [size] * size:
        return False
    table = np.array(prior.covariance)
    if not (np.isfinite(table).all() and np.isfinite(prior.means).all()):
        return False
    near = all(-16.0 < m < 6.0 for m in prior.means) and np.allclose(table, table.T, atol=1e-3)
    shares = all(0.0 <= share <= 1.0 for share in prior.shares.values())
    eigen = np.linalg.eigvalsh(table)
    return bool(near and shares and eigen.min() > 1e-4 and eigen.max() < 60.0)


def ensemble_of(prior: Prior | None) -> Ensemble:
    """Return the ensemble to begin with, for this vehicle where records told of it."""
    if prior is None or not prior.runs:
        return Ensemble()
    return Ensemble(np.array(prior.means), np.array(prior.covariance))


def learned_from(ensemble: Ensemble, runs: int, spent_s: Mapping[Phase, float]) -> Prior:
    """Return what `ensemble` holds after `runs` recordings, one day apart from the next."""
    means, covariance = ensemble.parameters()
    covariance = covariance + BETWEEN**2 * np.eye(len(NAMES))
    total = sum(spent_s.values())
    shares = {p.value: s / total for p, s in spent_s.items() if s} if total else {}
    return Prior(
        tuple(means.tolist()), tuple(tuple(row) for row in covariance.tolist()), runs, shares
    )


def teaches(points: Sequence[Point]) -> bool:
    """Whether the fluid moves enough in a run to teach anything."""
    levels = [point.fluid_c for point in points]
    return bool(levels) and max(levels) - min(levels) >= _LEAST_MOVED_C


def spent(runs: Iterable[Sequence[Point]]) -> dict[Phase, float]:
    """Return the seconds spent in each way."""
    total = dict.fromkeys(Phase, 0.0)
    for points in runs:
        for before, after in itertools.pairwise(points):
            total[before.phase] += min(after.elapsed_s - before.elapsed_s, _MOST_STEP_S)
    return total


def usual_rates(prior: Prior, way: Phase, levels_c: Sequence[float]) -> list[tuple[float, float]]:
    """Return the usual rate (K/min) at each level that is reached in this way.

    Warming begins with all at 20 degC, cooling with all at 95 degC, in air of 20 degC.
    """
    start_c = _HOT_C if way is Phase.OFF else _SHOWN_AIR_C
    ensemble = ensemble_of(prior)
    ensemble.begin(start_c, 0.0, min(start_c, _WARM_C), _SHOWN_AIR_C)
    ensemble.x[CASE] = start_c
    ahead = ensemble.ahead(Doing({way: 1.0}), start_c, start_c)
    path, found = np.median(ahead.fluid, axis=1), []
    for level_c in levels_c:
        passed = np.flatnonzero((path[1:] - level_c) * (path[:-1] - level_c) <= 0.0)
        if passed.size:
            i = int(passed[0])
            rate = (path[i + 1] - path[i]) / (ahead.times_s[i + 1] - ahead.times_s[i]) * 60.0
            found.append((level_c, round(float(rate), 2)))
    return found
