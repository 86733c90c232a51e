"""Quantiles, intervals and least squares, judged by scipy and numpy, and their coverage."""

import math
import random
from collections.abc import Callable

import numpy as np
import pytest
import scipy  # loads its parts when they are used
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.analysis.methods.distributions import t_cdf, t_quantile
from warmwatch.analysis.methods.fit import least_squares
from warmwatch.analysis.methods.interval import (
    BOOTSTRAP_FROM,
    BOOTSTRAP_TO,
    Interval,
    bootstrap,
    difference,
    mean_interval,
    quantile,
    welch,
)

DEGREES = (0.5, 1.0, 1.7, 2.0, 3.4, 5.0, 10.0, 29.5, 120.0, 5000.0)


@pytest.mark.parametrize("df", DEGREES)
@pytest.mark.parametrize("p", [1e-4, 0.025, 0.3, 0.5, 0.6, 0.95, 0.975, 0.9999])
def test_t_quantiles_equal_scipy(df: float, p: float) -> None:
    """The quantile of Student's t is scipy's, for whole and broken degrees of freedom."""
    expected = scipy.stats.t.ppf(p, df)
    assert t_quantile(p, df) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(
    ("df", "published"), [(1, 12.706), (2, 4.303), (4, 2.776), (10, 2.228), (30, 2.042)]
)
def test_t_quantiles_equal_the_printed_table(df: int, published: float) -> None:
    """Two-sided 95 % points as every printed t table has them (from memory)."""
    assert t_quantile(0.975, df) == pytest.approx(published, abs=0.0006)


@given(st.floats(0.001, 0.999), st.floats(0.6, 300.0))
def test_the_quantile_inverts_the_distribution(p: float, df: float) -> None:
    """What lies below the quantile of p is p."""
    assert t_cdf(t_quantile(p, df), df) == pytest.approx(p, abs=1e-9)


@pytest.mark.parametrize(("p", "df"), [(0.0, 3.0), (1.0, 3.0), (0.5, 0.0), (0.5, -1.0)])
def test_what_has_no_quantile_is_refused(p: float, df: float) -> None:
    """No number is made up where there is none."""
    with pytest.raises(ValueError, match="no quantile"):
        t_quantile(p, df)


def test_the_mean_interval_equals_scipy() -> None:
    """The interval of a mean is scipy's t interval."""
    values = [12.1, 15.4, 9.8, 13.3, 14.9]
    error = scipy.stats.sem(values)
    low, high = scipy.stats.t.interval(0.95, 4, loc=np.mean(values), scale=error)
    found = mean_interval(values)
    assert found is not None
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-10)
    assert mean_interval([3.0]) is None


@given(
    st.lists(st.floats(-50, 50), min_size=2, max_size=9),
    st.lists(st.floats(-50, 50), min_size=2, max_size=9),
)
def test_welch_equals_scipy(a: list[float], b: list[float]) -> None:
    """Welch's interval and its degrees of freedom are scipy's."""
    if np.var(a) < 1e-6 or np.var(b) < 1e-6:
        return
    judge = scipy.stats.ttest_ind(a, b, equal_var=False)
    low, high = judge.confidence_interval()
    found = welch(a, b)
    assert (found.low, found.high) == pytest.approx((low, high), rel=1e-7, abs=1e-7)
    assert found.df == pytest.approx(judge.df, rel=1e-7)


def test_runs_that_are_all_alike_claim_nothing() -> None:
    """Where no spread was seen none is stated, and the difference does not tell."""
    found = welch([5.0, 5.0, 5.0], [7.0, 7.0, 7.0])
    assert not found.tells
    assert math.isinf(found.low)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_bootstrap_equals_scipy(seed: int) -> None:
    """The BCa interval is scipy's, within the chance of resampling (a tenth of its width)."""
    chance = random.Random(seed)
    a = [chance.lognormvariate(2.0, 0.5) for _ in range(16)]
    b = [chance.lognormvariate(2.4, 0.3) for _ in range(22)]

    def statistic(x: np.ndarray, y: np.ndarray, axis: int) -> np.ndarray:
        found: np.ndarray = np.mean(x, axis=axis) - np.mean(y, axis=axis)
        return found

    judge = scipy.stats.bootstrap(
        (a, b), statistic, method="BCa", n_resamples=20_000, rng=1
    ).confidence_interval
    found = bootstrap(a, b)
    width = judge.high - judge.low
    assert found.low == pytest.approx(judge.low, abs=0.1 * width)
    assert found.high == pytest.approx(judge.high, abs=0.1 * width)


def test_the_order_of_the_runs_changes_nothing() -> None:
    """The bootstrap gives the same digits for the same values in any order."""
    chance = random.Random(5)
    a = [chance.gauss(10, 2) for _ in range(15)]
    b = [chance.gauss(12, 2) for _ in range(15)]
    again = bootstrap(chance.sample(a, 15), chance.sample(b, 15))
    assert bootstrap(a, b) == again


@pytest.mark.parametrize(
    ("n", "m", "how"),
    [
        (2, 2, "welch-t"),
        (BOOTSTRAP_FROM - 1, 30, "welch-t"),
        (BOOTSTRAP_FROM, 30, "bootstrap"),
        (BOOTSTRAP_TO + 1, 30, "welch-t"),
    ],
)
def test_the_interval_fits_the_number_of_runs(n: int, m: int, how: str) -> None:
    """Few runs get the t interval, middling numbers the bootstrap, many the t interval."""
    chance = random.Random(n)
    found = difference(
        [chance.gauss(0, 1) for _ in range(n)], [chance.gauss(0, 1) for _ in range(m)]
    )
    assert found is not None
    assert found.how == how
    assert difference([1.0], [2.0, 3.0]) is None


@given(st.lists(st.floats(-100, 100), min_size=1, max_size=30), st.floats(0, 1))
def test_quantiles_of_runs_equal_numpy(values: list[float], share: float) -> None:
    """A quantile between runs is numpy's linear one."""
    expected = float(np.quantile(values, share))
    assert quantile(sorted(values), share) == pytest.approx(expected, abs=1e-9)


def test_least_squares_equals_numpy() -> None:
    """Coefficients and the standard error of a contrast are those of numpy's solution."""
    chance = np.random.default_rng(3)
    rows = np.column_stack([np.ones(20), chance.normal(60, 8, 20), chance.normal(5, 3, 20)])
    y = rows @ [3.0, -0.4, 0.9] + chance.normal(0, 0.7, 20)
    fit = least_squares(rows.tolist(), y.tolist())
    assert fit is not None
    solution, residual, *_ = np.linalg.lstsq(rows, y)
    assert fit.coefficients == pytest.approx(solution.tolist(), rel=1e-9)
    weights = np.array([0.0, 2.0, -1.0])
    variance = residual[0] / 17 * weights @ np.linalg.inv(rows.T @ rows) @ weights
    half = scipy.stats.t.ppf(0.975, 17) * math.sqrt(variance)
    found = fit.contrast(weights.tolist())
    assert found.high - found.estimate == pytest.approx(half, rel=1e-8)
    assert found.df == 17


def test_nearly_parallel_columns_keep_their_digits() -> None:
    """Where X'X would lose half of the digits the fit still agrees with numpy."""
    x = np.linspace(80.0, 80.001, 12)
    rows = np.column_stack([np.ones(12), x])
    y = 5.0 + 300.0 * x
    fit = least_squares(rows.tolist(), y.tolist())
    assert fit is not None
    assert fit.coefficients[1] == pytest.approx(300.0, rel=1e-6)


@pytest.mark.parametrize(
    ("rows", "y"),
    [
        ([], []),
        ([[1.0, 2.0], [2.0, 4.0], [3.0, 6.0], [4.0, 8.0]], [1.0, 2.0, 3.0, 4.0]),
        ([[1.0, 0.0], [1.0, 1.0]], [1.0, 2.0]),
        ([[0.0], [0.0], [0.0]], [1.0, 2.0, 3.0]),
    ],
    ids=["no run", "one column twice", "no run to spare", "a column of zeros"],
)
def test_what_cannot_be_fitted_is_not(rows: list[list[float]], y: list[float]) -> None:
    """No coefficient is given where the runs do not settle it."""
    assert least_squares(rows, y) is None


def test_the_spread_is_never_below_what_the_measuring_brings() -> None:
    """A perfect-looking fit of coarse readings still gets an honest interval."""
    rows = [[1.0, float(i)] for i in range(6)]
    fit = least_squares(rows, [2.0 * i for i in range(6)], least_spread=0.5)
    assert fit is not None
    assert fit.spread == 0.5


def covered(draw: Callable[[random.Random], tuple[Interval | None, float]], groups: int) -> float:
    """Return the share of intervals that hold the truth."""
    chance = random.Random(20)
    hits = 0
    for _ in range(groups):
        interval, truth = draw(chance)
        assert interval is not None
        hits += interval.low <= truth <= interval.high
    return hits / groups


@pytest.mark.slow
@pytest.mark.parametrize(("n", "m"), [(3, 3), (3, 5), (5, 4), (8, 8)])
def test_intervals_of_few_runs_hold_the_truth(n: int, m: int) -> None:
    """Of 95 % intervals between small groups with unlike spreads about 95 in 100 hold the truth.

    The bounds leave four standard errors of a count of 1500 (binomial) and Welch's own known
    slight caution with unlike groups.
    """

    def draw(chance: random.Random) -> tuple[Interval | None, float]:
        a = [chance.gauss(12.0, 1.0) for _ in range(n)]
        b = [chance.gauss(30.0, 3.0) for _ in range(m)]
        return difference(a, b), -18.0

    assert 0.927 <= covered(draw, 1500) <= 0.985


@pytest.mark.slow
def test_bootstrap_intervals_of_skewed_groups_hold_the_truth() -> None:
    """With 15 and 20 skewed runs at least nine in ten intervals hold the truth.

    Bootstrap intervals of small skewed groups are known to fall short of 95 %; the figure that was
    measured stands in docs/compare.md.
    """
    mean = math.exp(0.5 * 0.4**2)

    def draw(chance: random.Random) -> tuple[Interval | None, float]:
        a = [chance.lognormvariate(0.0, 0.4) for _ in range(15)]
        b = [chance.lognormvariate(0.0, 0.4) * 2.0 for _ in range(20)]
        return difference(a, b), mean - 2.0 * mean

    assert 0.90 <= covered(draw, 300) <= 0.99


def test_the_bootstrap_of_runs_that_are_all_alike_claims_nothing() -> None:
    """Where every resample is the same there is no spread to state."""
    found = bootstrap([5.0] * 15, [7.0] * 15)
    assert not found.tells
    symmetric = bootstrap([1.0, 2.0, 3.0] * 5, [1.0, 2.0, 3.0] * 5)
    assert symmetric.low == pytest.approx(-symmetric.high, abs=0.2)
