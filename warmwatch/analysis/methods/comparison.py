"""Compares ways of warming up: groups of recordings, their figures, and their differences.

Nothing is ranked and nothing is recommended: groups stand in the order of their names.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean

from warmwatch.analysis.methods.figures import (
    Piece,
    Run,
    Span,
    phase_pieces,
    rate_name,
    reached_not,
    run_piece,
)
from warmwatch.analysis.methods.fit import Fit, least_squares
from warmwatch.analysis.methods.interval import (
    TOO_FEW,
    Interval,
    difference,
    mean_interval,
    quantile,
)

METHOD, PHASE, BOTH = "method", "phase", "both"
COMPARED = (
    "time_to_band_min",
    "span_min",
    "rate_span_c_per_min",
    "rate_model_c_per_min",
    "overshoot_c",
    "window_min",
    "coolant_peak_c",
)
"""The figures whose differences are worked out, besides the rates at the given temperatures."""
APART_K = 3.0
"""Groups whose start or ambient temperatures lie further apart than this do not overlap."""
VARIES_K = 2.0
"""A start or ambient temperature that varies by less over all runs explains nothing, and its slope
would be drawn from noise."""
MANY_GROUPS = 6
"""With more groups than this only differences to the reference are worked out."""


@dataclass(frozen=True, slots=True)
class GroupFigure:
    """One figure of one group: how many runs have it, and where they lie."""

    n: int
    median: float
    low: float
    high: float
    mean: Interval | None


@dataclass(frozen=True, slots=True)
class Group:
    """One method or phase: its runs, its figures by name, and how many ended before the band."""

    name: str
    n: int
    figures: dict[str, GroupFigure]
    not_reached: int


@dataclass(frozen=True, slots=True)
class Adjusted:
    """A difference after start and ambient temperature are taken into account by a model.

    `carried` names covariates whose ranges in the two groups do not overlap: there the straight
    line alone makes the groups comparable.
    """

    interval: Interval
    covariates: tuple[str, ...]
    n: int
    vehicles: int
    carried: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Difference:
    """The mean of `a` less the mean of `b`; `censored` counts runs that ended before the band."""

    figure: str
    a: str
    b: str
    n_a: int
    n_b: int
    plain: Interval | None
    adjusted: Adjusted | None
    censored: int

    @property
    def too_few(self) -> bool:
        """Whether nothing may be claimed because one group has too few runs."""
        return min(self.n_a, self.n_b) <= TOO_FEW

    @property
    def best(self) -> Interval | None:
        """The interval to go by: the adjusted one where there is one."""
        return self.plain if self.adjusted is None else self.adjusted.interval


@dataclass(frozen=True, slots=True)
class Comparison:
    """The whole result; `pieces` says which recording was used for what."""

    by: str
    span: Span
    groups: tuple[Group, ...]
    differences: tuple[Difference, ...]
    pieces: tuple[Piece, ...]


def compare(
    runs: Sequence[Run], span: Span, *, by: str = METHOD, against: str | None = None
) -> Comparison:
    """Compare runs over a span, grouped by method, phase or both.

    The order of the runs makes no difference. `against` names the group that all others are
    compared with; without it all pairs are, unless there are more than MANY_GROUPS groups.
    """
    runs = sorted(runs, key=lambda run: (run.digest, run.name))
    pieces = [piece for run in runs for piece in _pieces(run, span, by)]
    members: dict[str, list[Piece]] = {}
    for piece in pieces:
        members.setdefault(piece.group, []).append(piece)
    names = sorted(members)
    groups = tuple(_group(name, members[name]) for name in names)
    figures = [*COMPARED, *(rate_name(level) for level in span.at_c)]
    fits = {figure: _Model(pieces, figure) for figure in figures}
    differences = tuple(
        found
        for a, b in _pairs(names, members, against)
        for figure in figures
        if (found := _difference(figure, members[a], members[b], fits[figure])) is not None
    )
    return Comparison(by, span, groups, differences, tuple(pieces))


def _pieces(run: Run, span: Span, by: str) -> list[Piece]:
    if by == METHOD:
        return [run_piece(run, span)]
    return phase_pieces(run, span, with_method=by == BOTH)


def _group(name: str, members: Sequence[Piece]) -> Group:
    names = dict.fromkeys(figure for piece in members for figure in piece.figures)
    figures = {figure: _figure(_values(members, figure)) for figure in names}
    return Group(name, len(members), figures, sum(map(reached_not, members)))


def _values(members: Iterable[Piece], figure: str) -> list[float]:
    return [piece.figures[figure] for piece in members if figure in piece.figures]


def _figure(values: Sequence[float]) -> GroupFigure:
    ordered = sorted(values)
    return GroupFigure(
        len(ordered), quantile(ordered, 0.5), ordered[0], ordered[-1], mean_interval(ordered)
    )


def _pairs(
    names: Sequence[str], members: dict[str, list[Piece]], against: str | None
) -> list[tuple[str, str]]:
    if against is None and len(names) > MANY_GROUPS:
        against = max(names, key=lambda name: (len(members[name]), name == "idle"))
    if against is not None:
        return [(name, against) for name in names if name != against]
    return [(a, b) for i, a in enumerate(names) for b in names[i + 1 :]]


def _difference(
    figure: str, a: Sequence[Piece], b: Sequence[Piece], model: "_Model"
) -> Difference | None:
    values_a, values_b = _values(a, figure), _values(b, figure)
    if not values_a or not values_b:
        return None
    censored = 0
    if figure == "time_to_band_min":
        censored = sum(map(reached_not, [*a, *b]))
    # With runs that ended before the band the mean of the others would be too short: no claim.
    plain = None if censored else difference(values_a, values_b)
    adjusted = None if censored or plain is None else model.adjusted(a[0].group, b[0].group)
    return Difference(
        figure, a[0].group, b[0].group, len(values_a), len(values_b), plain, adjusted, censored
    )


class _Model:
    """figure = group + slope * start temperature + slope * ambient, for each vehicle its level.

    Vehicles are taken out by centring every column on the vehicle's own mean (the within form of
    fixed effects), so that thousands of vehicles cost no more than one.
    """

    def __init__(self, pieces: Sequence[Piece], figure: str) -> None:
        self._figure = figure
        usable = [p for p in pieces if figure in p.figures]
        known = [p for p in usable if p.ambient_c is not None]
        # Ambient counts when nearly every run has it; otherwise it would cost too many runs.
        self._with_ambient = len(known) >= 0.8 * len(usable)
        self._pieces = known if self._with_ambient else usable
        self._names = sorted({p.group for p in self._pieces})
        self._covariates = self._varying()
        self._vehicles = len({p.vehicle for p in self._pieces})
        self._fit = self._fitted() if self._covariates and len(self._names) > 1 else None

    def _varying(self) -> tuple[str, ...]:
        wanted = ("start_c", "ambient_c") if self._with_ambient else ("start_c",)
        ranges = {name: [_covariate(p, name) for p in self._pieces] for name in wanted}
        return tuple(
            name for name, seen in ranges.items() if seen and max(seen) - min(seen) >= VARIES_K
        )

    def _fitted(self) -> Fit | None:
        rows = [
            [
                *(float(p.group == name) for name in self._names[1:]),
                *(_covariate(p, name) for name in self._covariates),
                p.figures[self._figure],
            ]
            for p in self._pieces
        ]
        centred = _centred(rows, [p.vehicle for p in self._pieces])
        return least_squares(
            [row[:-1] for row in centred], [row[-1] for row in centred], used=self._vehicles
        )

    def adjusted(self, a: str, b: str) -> Adjusted | None:
        """Return the adjusted difference a - b, None where the runs do not allow it."""
        if self._fit is None or a not in self._names or b not in self._names:
            return None
        weights = [float(name == a) - float(name == b) for name in self._names[1:]]
        weights += [0.0] * len(self._covariates)
        interval = self._fit.contrast(weights)
        carried = tuple(name for name in self._covariates if self._apart(a, b, name))
        return Adjusted(interval, self._covariates, len(self._pieces), self._vehicles, carried)

    def _apart(self, a: str, b: str, covariate: str) -> bool:
        one = [_covariate(p, covariate) for p in self._pieces if p.group == a]
        other = [_covariate(p, covariate) for p in self._pieces if p.group == b]
        return max(one) + APART_K < min(other) or max(other) + APART_K < min(one)


def _covariate(piece: Piece, name: str) -> float:
    return piece.start_c if name == "start_c" else piece.ambient_c or 0.0


def _centred(rows: Sequence[Sequence[float]], keys: Sequence[str]) -> list[list[float]]:
    """Return the rows less the mean of the rows with the same key."""
    together: dict[str, list[Sequence[float]]] = {}
    for row, key in zip(rows, keys, strict=True):
        together.setdefault(key, []).append(row)
    means = {
        key: [fmean(column) for column in zip(*own, strict=True)] for key, own in together.items()
    }
    return [
        [value - mean for value, mean in zip(row, means[key], strict=True)]
        for row, key in zip(rows, keys, strict=True)
    ]
