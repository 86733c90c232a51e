"""What earlier recordings taught: the usual pace at each temperature, and how much it varies.

A profile of seconds per kelvin against fluid temperature, with the spread between runs (one is
slower all the way) and within a run (one stretch is slower). Both are blended with cautious
defaults, so two recordings already help and do not overpromise.
"""

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, log, sqrt
from typing import Any

from warmwatch.core.phase import Phase

VERSION = 1
FORMAT = "warmwatch forecast prior"
_FROM_C, _STEP_C, _CELLS = -20.0, 2.0, 80
_BETWEEN, _WITHIN, _DEFAULT_RUNS = 0.35, 0.45, 2.0
_REACH_CELLS = 3  # an unseen cell borrows from one so near
_REACH_UP_CELLS = 1  # but above all that was seen only the next: the fluid may have ended there
_OWN_C = 16.0  # so much of the present climb is compared with the profile
_LATE_C = 3.0  # and so much tells whether the profile still holds
_SURPRISE = 1.5  # standard deviations off its pace are no surprise
_SHARED = (Phase.IDLE, Phase.LOADED, Phase.DRIVING, Phase.OFF)

Point = tuple[float, float, Phase]


@dataclass(frozen=True, slots=True)
class Prior:
    """A learned profile.

    `log_pace[i]` is the mean logarithm of s/K between -20 + 2 i and -18 + 2 i degC, None where no
    run passed; `between` and `within` are standard deviations of logarithms, `within` for one cell;
    `shares` say how much of the time the runs spent in each phase (empty when unknown).
    """

    log_pace: tuple[float | None, ...]
    between: float
    within: float
    runs: int
    shares: Mapping[str, float]

    def to_mapping(self) -> dict[str, Any]:
        """Return a JSON-able mapping that `from_mapping` reads."""
        return {
            "format": FORMAT,
            "version": VERSION,
            "from_c": _FROM_C,
            "step_c": _STEP_C,
            "log_s_per_k": [None if p is None else round(p, 4) for p in self.log_pace],
            "between": round(self.between, 4),
            "within": round(self.within, 4),
            "runs": self.runs,
            "phase_shares": {k: round(v, 4) for k, v in self.shares.items()},
        }

    @classmethod
    def from_mapping(cls, mapping: Mapping[str, Any]) -> "Prior":
        """Return the prior a mapping holds; raises ValueError when it is none of this version."""
        try:
            if mapping["format"] != FORMAT or mapping["version"] != VERSION:
                raise ValueError(f"not a {FORMAT} of version {VERSION}")
            paces = tuple(None if p is None else float(p) for p in mapping["log_s_per_k"])
            prior = cls(
                paces,
                float(mapping["between"]),
                float(mapping["within"]),
                int(mapping["runs"]),
                {str(k): float(v) for k, v in mapping["phase_shares"].items()},
            )
        except (KeyError, TypeError, AttributeError, OverflowError) as error:
            raise ValueError(f"not a {FORMAT}: {error}") from error
        if len(paces) != _CELLS or not _sound(prior):
            raise ValueError(f"not a {FORMAT}: its numbers are out of range")
        return prior

    def seconds(self, low_c: float, high_c: float) -> float | None:
        """Return the usual time from one level to a higher one, None where nothing is known."""
        total, now = 0.0, low_c
        seen = (i for i in range(_CELLS - 1, -1, -1) if self.log_pace[i] is not None)
        if high_c > _FROM_C + (next(seen, -_CELLS) + 1 + _REACH_UP_CELLS) * _STEP_C:
            return None
        while now < high_c:
            cell = int((now - _FROM_C) // _STEP_C)
            pace = self._pace(cell)
            if pace is None:
                return None
            end = min(high_c, _FROM_C + (cell + 1) * _STEP_C)
            total += (end - now) * exp(pace)
            now = end
        return total

    def _pace(self, cell: int) -> float | None:
        for off in range(_REACH_CELLS + 1):
            for near in (cell - off, cell + off):
                if 0 <= near < _CELLS and self.log_pace[near] is not None:
                    return self.log_pace[near]
        return None

    def likeness(self, shares: Mapping[Phase, float]) -> float:
        """Return 0..1, how alike the present mix of phases and the recordings' are."""
        known = sum(shares.get(p, 0.0) for p in _SHARED)
        if not self.shares or known < 0.5:
            return 1.0
        return sum(min(self.shares.get(p.value, 0.0), shares.get(p, 0.0)) for p in _SHARED)


def _sound(prior: Prior) -> bool:
    paces = [p for p in prior.log_pace if p is not None]
    spreads = (prior.between, prior.within)
    shares_sound = all(0.0 <= share <= 1.0 for share in prior.shares.values())
    paces_sound = all(-5.0 < pace < 10.0 for pace in paces)
    return paces_sound and shares_sound and all(0.0 < spread < 5.0 for spread in spreads)


def learn(runs: Iterable[Sequence[Point]]) -> Prior:
    """Return what warm-ups teach; each is a sequence of (elapsed_s, fluid_c, phase) in order.

    Readings must be good ones (fault codes and impossible jumps left out). Runs that climb less
    than 6 K teach nothing. Without any run the profile is empty and changes no forecast.
    """
    tables, spent = [], dict.fromkeys(_SHARED, 0.0)
    for points in runs:
        table = _paces(points)
        if len(table) < 2:
            continue
        tables.append(table)
        for (t0, _, phase), (t1, _, _) in itertools.pairwise(points):
            if phase in spent:
                spent[phase] += min(t1 - t0, 10.0)
    total = sum(spent.values())
    shares = {p.value: s / total for p, s in spent.items()} if total else {}
    return _profile(tables, shares)


def _paces(points: Sequence[Point]) -> dict[int, float]:
    """Return log s/K of each cell the run crossed whole, by first passage."""
    first: dict[int, float] = {}
    if not points:
        return {}
    cell = int((points[0][1] - _FROM_C) // _STEP_C)
    for elapsed_s, fluid_c, _ in points:
        while fluid_c >= _FROM_C + (cell + 1) * _STEP_C:
            cell += 1
            first[cell] = elapsed_s
    return {
        c: log(max(first[c + 1] - first[c], 0.5) / _STEP_C)
        for c in first
        if c + 1 in first and 0 <= c < _CELLS
    }


def _profile(tables: list[dict[int, float]], shares: Mapping[str, float]) -> Prior:
    cells: dict[int, list[float]] = {}
    for table in tables:
        for cell, pace in table.items():
            cells.setdefault(cell, []).append(pace)
    means = {c: sum(v) / len(v) for c, v in cells.items()}
    smooth = {c: _neighbours(c, means, cells) for c in means}
    offsets, rest, n_rest = [], 0.0, 0
    for table in tables:
        misses = [pace - smooth[c] for c, pace in table.items()]
        offset = sum(misses) / len(misses)
        offsets.append(offset)
        rest += sum((m - offset) ** 2 for m in misses)
        n_rest += max(len(misses) - 1, 0)
    spread = sum(o * o for o in offsets)
    runs = max(len(tables) - 1, 0)
    between = (spread + _DEFAULT_RUNS * _BETWEEN**2) / (runs + _DEFAULT_RUNS)
    within = (rest + 10.0 * _WITHIN**2) / (max(n_rest - len(means) / 2.0, 0.0) + 10.0)
    profile = tuple(smooth.get(c) for c in range(_CELLS))
    return Prior(profile, sqrt(between), sqrt(within), len(tables), dict(shares))


def _neighbours(cell: int, means: dict[int, float], cells: dict[int, list[float]]) -> float:
    """Return the mean over the cell and its neighbours, by number of runs and nearness."""
    total = weight = 0.0
    for near, share in (
        (cell - 2, 0.4),
        (cell - 1, 0.8),
        (cell, 1.0),
        (cell + 1, 0.8),
        (cell + 2, 0.4),
    ):
        if near in means:
            w = share * len(cells[near])
            total += w * means[near]
            weight += w
    return total / weight


def expectation(
    prior: Prior, level_c: float, target_c: float, own: Sequence[tuple[float, float]]
) -> tuple[float, float] | None:
    """Return mean and standard deviation of the logarithm of the time to `target_c`, s.

    `own` are (level, seconds ago) of the present run, longest stretch last; they tell how much
    slower or faster than usual this run is. None where the profile has a hole. Where the shortest
    stretch went quite another way than the rest (the fluid levels off), the profile holds no
    longer: the standard deviation grows.
    """
    usual = prior.seconds(level_c, target_c)
    if usual is None or usual <= 0.0:
        return None
    ahead = max((target_c - level_c) / _STEP_C, 0.25)
    offset, variance = 0.0, prior.between**2
    for own_level, ago_s in own:
        before = prior.seconds(own_level, level_c)
        if before and ago_s > 0:
            n = max((level_c - own_level) / _STEP_C, 0.5)
            noise = prior.within**2 / n + 0.02
            share = prior.between**2 / (prior.between**2 + noise)
            offset, variance = share * log(ago_s / before), prior.between**2 * (1.0 - share)
    spread = sqrt(variance + prior.within**2 / ahead + 0.005)
    return log(usual) + offset, spread * _doubt(prior, level_c, own, offset)


def _doubt(
    prior: Prior, level_c: float, own: Sequence[tuple[float, float]], offset: float
) -> float:
    """Return 1 while the shortest own stretch kept the pace, and more the farther it is off."""
    if not own:
        return 1.0
    own_level, ago_s = own[0]
    before = prior.seconds(own_level, level_c)
    if not before or ago_s <= 0:
        return 1.0
    noise = prior.within**2 / max((level_c - own_level) / _STEP_C, 0.5) + 0.02
    surprise = abs(log(ago_s / before) - offset) / sqrt(noise) - _SURPRISE
    return 1.0 + max(surprise, 0.0) ** 2


def own_levels(level_c: float, start_c: float) -> list[float]:
    """Return the levels down to which the present climb is compared with the profile, if any."""
    low = max(level_c - _OWN_C, start_c)
    return [level_c - _LATE_C, low] if level_c - low >= _LATE_C else []
