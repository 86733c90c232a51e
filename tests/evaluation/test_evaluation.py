"""The scoring's own checks: its peers, its intervals, and that nothing learned is misread."""

import csv
from io import StringIO
from math import log

import numpy as np
import pytest

from tests.evaluation.families import FAMILIES
from tests.evaluation.peers import line_over, newton, since_way_began, start_to_now
from tests.evaluation.plants import KINDS, many, one
from tests.evaluation.scores import CAP, OURS, error, follow, summary, wilson
from warmwatch.core.forecast.candidates import FEATURES
from warmwatch.core.forecast.correction import OUTPUTS, REACHED, correction_from, learned

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
    """The interval used for shares is the score interval to four digits."""
    found = wilson(int(row["successes"]), int(row["n"]))
    assert found == pytest.approx((float(row["low"]), float(row["high"])), abs=6e-5)


def test_peers_are_right_where_their_form_holds() -> None:
    """A line predicts a line and Newton's law an exponential, up and down (closed forms)."""
    t = np.arange(600.0)
    assert line_over(60.0)(t, 20 + t / 30, 0, 60.0) == pytest.approx(601.0, abs=0.5)
    assert since_way_began(t, 60 - t / 30, 100, 30.0) == pytest.approx(301.0, abs=0.5)
    assert start_to_now(t, 20 + t / 30, 0, 60.0) == pytest.approx(601.0, abs=0.5)
    for start, end, target in ((20.0, 90.0, 70.0), (90.0, 20.0, 45.0)):
        curve = end + (start - end) * np.exp(-t / 1000.0)
        truth = 1000.0 * log((start - end) / (target - end)) - 599.0
        assert newton(t, curve, 0, target) == pytest.approx(truth, rel=0.05)
    assert line_over(60.0)(t, 60 - t / 30, 0, 80.0) == float("inf")


def test_the_library_s_holt_is_holt() -> None:
    """Holt's linear trend of the library gives the published forecasts for the air passengers.

    Figures: 43.76, 45.59, 47.43, 49.27, 51.10 with level 0.8 and trend 0.2, the example that the
    library's documentation takes from a textbook (data and figures from memory).
    """
    holt = pytest.importorskip("statsmodels.tsa.holtwinters").Holt
    air = [17.5534, 21.86, 23.8866, 26.9293, 26.8885, 28.8314, 30.0751, 30.9535, 30.1857,
           31.5797, 32.5776, 33.4774, 39.0216, 41.3864, 41.5966]  # fmt: skip
    fitted = holt(air, initialization_method="legacy-heuristic").fit(
        smoothing_level=0.8, smoothing_trend=0.2, optimized=False
    )
    assert fitted.forecast(5) == pytest.approx([43.76, 45.59, 47.43, 49.27, 51.10], abs=0.01)


def test_the_error_is_the_log_ratio_and_silence_costs_most() -> None:
    """Twice and half are equally wrong; beyond four times, and silence, count ln 4."""
    assert error(200.0, 100.0) == pytest.approx(error(50.0, 100.0)) == pytest.approx(log(2.0))
    assert error(1000.0, 100.0) == error(None, 100.0) == CAP == pytest.approx(log(4.0))


@pytest.mark.parametrize("family", FAMILIES)
def test_an_invented_run_is_the_same_each_time(family: str) -> None:
    """Seeds alone decide, so that a score can be had again."""
    assert one(3, KINDS[0], family) == one(3, KINDS[0], family)


@pytest.mark.slow
def test_parked_forecasts_beat_the_line_on_a_family_never_learned_on() -> None:
    """On four parked vehicles the error is well under the line's, and there is always a time."""
    moments = [m for i in range(4) for curve in many("parked", "four", 1, 700 + 20 * i, plain=True)
               for m in follow(curve, slow=False) if m.since_s >= 60.0]  # fmt: skip
    line = summary("parked", moments)
    assert line is not None
    assert line.errors[OURS] < 0.6 * line.errors["line, this way"]
    assert line.silent <= 0.1


def test_a_correction_for_other_features_is_refused() -> None:
    """Trees learned for other names, or in another order, would silently give nonsense."""
    trees = {"start": 0.5, "depth": 1, "trees": [[[0, 1.0, 1, 2], [0.25], [-0.25]]]}
    data: dict[str, object] = {
        "format": "warmwatch forecast correction",
        "features": list(FEATURES),
    }
    data |= dict.fromkeys((*OUTPUTS, REACHED), trees)
    found = [0.0] * len(FEATURES)
    assert correction_from(data).answer(found) == (0.75, 0.75, 0.75)
    assert correction_from(data).answer([2.0, *found[1:]]) == (0.25, 0.25, 0.25)
    swapped = [FEATURES[1], FEATURES[0], *FEATURES[2:]]
    for other in ([], list(FEATURES[:-1]), swapped):
        with pytest.raises(ValueError, match="features"):
            correction_from({**data, "features": other})


def test_the_learned_correction_stays_a_correction() -> None:
    """Whatever is asked, the quantiles are in order and within e to the third of the members'."""
    rng = np.random.default_rng(5)
    for _ in range(50):
        low, middle, high = learned().answer((rng.normal(size=len(FEATURES)) * 20).tolist())
        assert -3.0 < low <= middle <= high < 3.0
