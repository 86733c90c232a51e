"""Least squares for a handful of columns, with intervals for any sum of coefficients."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from warmwatch.analysis.methods.distributions import t_quantile
from warmwatch.analysis.methods.interval import Interval

_DEPENDENT = 1e-9
"""A column whose part that the columns before do not explain is smaller than this share is
explained by them; it tells nothing more."""


@dataclass(frozen=True, slots=True)
class Fit:
    """Coefficients of ordinary least squares and what their intervals need.

    `cross` is the inverse of X'X, `spread` the residual standard deviation for `df` degrees of
    freedom.
    """

    coefficients: tuple[float, ...]
    cross: tuple[tuple[float, ...], ...]
    spread: float
    df: int

    def contrast(self, weights: Sequence[float], level: float = 0.95) -> Interval:
        """Return the interval of the weighted sum of the coefficients."""
        pairs = zip(weights, self.coefficients, strict=True)
        estimate = math.fsum(w * c for w, c in pairs)
        parts = (
            wi * row[j] * wj
            for wi, row in zip(weights, self.cross, strict=True)
            for j, wj in enumerate(weights)
        )
        error = self.spread * math.sqrt(max(0.0, math.fsum(parts)))
        half = t_quantile(0.5 + level / 2.0, self.df) * error
        return Interval(estimate, estimate - half, estimate + half, "model-t", float(self.df))


def least_squares(
    rows: Sequence[Sequence[float]],
    y: Sequence[float],
    *,
    used: int = 0,
    least_spread: float = 0.0,
) -> Fit | None:
    """Fit y = X b, X given by its rows; `used` degrees of freedom are spent beforehand.

    The residual spread is taken to be `least_spread` at least: what the measuring alone brings.
    Returns None when a column is explained by the others or no degree of freedom is left. By
    Gram-Schmidt orthogonalisation, done twice, which keeps the digits that X'X would lose.
    """
    if not rows or not rows[0]:
        return None
    columns = [list(column) for column in zip(*rows, strict=True)]
    df = len(y) - len(columns) - used
    factors = _orthogonal(columns) if df > 0 else None
    if factors is None:
        return None
    q, r = factors
    projected = [_dot(column, y) for column in q]
    inverse = _inverse_upper(r)
    coefficients = [_dot(row, projected) for row in inverse]
    residual = [
        value - math.fsum(p * column[i] for p, column in zip(projected, q, strict=True))
        for i, value in enumerate(y)
    ]
    spread = max(least_spread, math.sqrt(_dot(residual, residual) / df))
    cross = tuple(tuple(_dot(a, b) for b in inverse) for a in inverse)
    return Fit(tuple(coefficients), cross, spread, df)


def _orthogonal(
    columns: Sequence[Sequence[float]],
) -> tuple[list[list[float]], list[list[float]]] | None:
    """Return Q as columns and R as rows, X = Q R; None when a column depends on earlier ones."""
    q: list[list[float]] = []
    r = [[0.0] * len(columns) for _ in columns]
    for j, column in enumerate(columns):
        rest, size = list(column), math.sqrt(_dot(column, column))
        for _ in range(2):
            for i, unit in enumerate(q):
                share = _dot(unit, rest)
                r[i][j] += share
                rest = [x - share * u for x, u in zip(rest, unit, strict=True)]
        r[j][j] = math.sqrt(_dot(rest, rest))
        if r[j][j] <= _DEPENDENT * size:
            return None
        q.append([x / r[j][j] for x in rest])
    return q, r


def _inverse_upper(r: Sequence[Sequence[float]]) -> list[list[float]]:
    size = len(r)
    inverse = [[0.0] * size for _ in range(size)]
    for j in range(size):
        inverse[j][j] = 1.0 / r[j][j]
        for i in range(j - 1, -1, -1):
            total = math.fsum(r[i][k] * inverse[k][j] for k in range(i + 1, j + 1))
            inverse[i][j] = -total / r[i][i]
    return inverse


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return math.fsum(x * y for x, y in zip(a, b, strict=True))
