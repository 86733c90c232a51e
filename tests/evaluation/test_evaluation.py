"""The forecast against simulated stationary warm-ups, and the scoring's own checks."""

import csv
from collections import Counter
from io import StringIO

import numpy as np
import pytest

from tests.evaluation.baselines import RULES, exponential, line_over, start_to_now
from tests.evaluation.scores import OURS, Case, score, wilson
from tests.evaluation.stationary import stationary

# Score intervals for the classic comparison set; two libraries agree on them (statsmodels 0.15.0,
# scipy 1.17.1), recomputed beside the published set (numbers of the set from memory).
INTERVALS = """successes,n,low,high
81,263,0.2553,0.3662
15,148,0.0624,0.1605
0,20,0.0000,0.1611
1,29,0.0061,0.1718
19,20,0.7639,0.9911
180,200,0.8506,0.9343
"""


@pytest.mark.parametrize("row", list(csv.DictReader(StringIO(INTERVALS))))
def test_wilson_interval_agrees_with_published_values(row: dict[str, str]) -> None:
    """The interval used for coverage is the score interval to four digits."""
    found = wilson(int(row["successes"]), int(row["n"]))
    assert found == pytest.approx((float(row["low"]), float(row["high"])), abs=6e-5)


def test_baselines_are_right_where_their_form_holds() -> None:
    """A line predicts a line and an exponential an exponential (closed forms)."""
    t = np.arange(600.0)
    assert line_over(60.0)(t, 20 + t / 30, 60.0) == pytest.approx(601.0, abs=0.5)
    curve = 90 - 70 * np.exp(-t / 1000.0)
    truth = 1000.0 * np.log(70.0 / 20.0) - 599.0
    assert exponential(t, curve, 70.0) == pytest.approx(truth, rel=0.05)
    assert line_over(60.0)(t, 60 - t / 30, 80.0) == float("inf")
    assert start_to_now(t, 20 + t / 30, 60.0) == pytest.approx(601.0, abs=0.5)
    assert start_to_now(t, 60 - t / 30, 80.0) == float("inf")


@pytest.fixture(scope="module")
def idle_cases() -> list[Case]:
    """Return scored forecasts of simulated idle warm-ups, seeds fixed."""
    curves = [c for c in stationary(40) if c.group.endswith("idle")]
    return [case for c in curves for case in score(c, (50.0, 60.0, 70.0, 80.0))[0]]


def test_idle_forecasts_beat_every_line(idle_cases: list[Case]) -> None:
    """On simulated idle warm-ups the median error is below each baseline's, at every horizon."""
    for horizon in (600.0, 300.0, 120.0, 60.0):
        here = [c for c in idle_cases if c.truth_s == horizon]
        medians = {r: np.median([c.answers[r] for c in here]) for r in [OURS, *RULES]}
        assert medians[OURS] == min(medians.values()), (horizon, medians)


def test_idle_intervals_cover(idle_cases: list[Case]) -> None:
    """The share of truths inside q10-q90 is not below 75 %, by the Wilson interval's upper end.

    An 80 % interval on a sample: the bound may only be missed when the sample itself says so.
    """
    for horizon in (600.0, 300.0, 180.0, 120.0, 60.0):
        here = [c for c in idle_cases if c.truth_s == horizon]
        inside = sum(c.inside for c in here)
        assert wilson(inside, len(here))[1] >= 0.75
        assert len(here) > 20


def test_chance_is_calibrated_on_idle_warm_ups() -> None:
    """Of the moments with a chance of 0.9 and more nine in ten arrive; below 0.1 few do."""
    curves = [c for c in stationary(40) if c.group.endswith("idle")]
    came: Counter[str] = Counter()
    asked: Counter[str] = Counter()
    for curve in curves:
        for moment in score(curve, (60.0, 75.0, 90.0), rules=False)[1]:
            side = "high" if moment.chance >= 0.9 else "low" if moment.chance < 0.1 else "middle"
            asked[side] += 1
            came[side] += moment.arrived
    assert came["high"] / asked["high"] > 0.85
    assert came["low"] / asked["low"] < 0.15
    assert min(asked.values()) > 100
