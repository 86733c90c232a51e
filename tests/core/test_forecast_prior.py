"""What earlier recordings teach: this vehicle's place among the plausible transmissions."""

import json
from functools import cache
from math import exp, floor, log
from typing import Any

import pytest

from warmwatch.analysis.learned import learn
from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.forecast.prior import Point, Prior, usual_rates
from warmwatch.core.phase import Phase


def warm_up(tau: float, end: float, seconds: int = 1500) -> list[Point]:
    """Return an idling warm-up from 20 degC by Newton's law, in whole degrees."""
    return [
        Point(
            float(t), float(floor(end + (20.0 - end) * exp(-t / tau))), Phase.IDLE, ambient_c=20.0
        )
        for t in range(0, seconds, 2)
    ]


def cool_down(tau: float, seconds: int = 3000) -> list[Point]:
    """Return a fluid that cools from 90 degC with the engine off."""
    return [
        Point(float(t), float(floor(20.0 + 70.0 * exp(-t / tau))), Phase.OFF, ambient_c=20.0)
        for t in range(0, seconds, 2)
    ]


@cache
def slow() -> Prior:
    return learn([warm_up(2400.0, 95.0), warm_up(2300.0, 96.0)])


def test_records_of_a_slow_vehicle_make_its_first_forecast_slow() -> None:
    """A minute after the start the records already tell a slow vehicle from a fast one."""
    fast = learn([warm_up(700.0, 100.0), warm_up(750.0, 100.0)])
    for prior, tau, end in ((fast, 700.0, 100.0), (slow(), 2400.0, 95.0)):
        forecaster = Forecaster(prior)
        for point in warm_up(tau, end, 60):
            forecaster.update(point.elapsed_s, point.fluid_c, phase=Phase.IDLE, ambient_c=20.0)
        said_s = forecaster.to_edge(58.0, 60.0, "low").q50_s
        truth_s = tau * log((end - 20.0) / (end - 60.0)) - 58.0
        assert said_s is not None
        assert abs(log(said_s / truth_s)) < 0.5


def test_records_tell_how_it_cools() -> None:
    """Records of cooling teach the pace of cooling: a quick and a slow vehicle differ."""
    quick, slowly = (learn([cool_down(tau)] * 2) for tau in (1500.0, 6000.0))
    rates = [usual_rates(prior, Phase.OFF, [60.0])[0][1] for prior in (quick, slowly)]
    assert rates[0] < 1.5 * rates[1] < 0.0


def test_nothing_learned_changes_nothing() -> None:
    """An empty prior, and a run in which the fluid hardly moves, leave the forecast as it was."""
    still = [Point(float(t), 50.0, Phase.IDLE) for t in range(100)]
    empty = learn([still])
    assert empty.runs == 0
    with_it, without = Forecaster(empty), Forecaster()
    for point in warm_up(1200.0, 95.0, 200):
        for forecaster in (with_it, without):
            forecaster.update(point.elapsed_s, point.fluid_c, phase=point.phase)
    assert with_it.to_edge(198.0, 60.0, "low") == without.to_edge(198.0, 60.0, "low")


def test_the_basis_names_the_records_until_the_own_pace_shows() -> None:
    """At first the forecast rests on the records, later on the vehicle's own pace."""
    forecaster = Forecaster(slow())
    codes = []
    for point in warm_up(2400.0, 95.0, 300):
        forecaster.update(point.elapsed_s, point.fluid_c, phase=point.phase, ambient_c=20.0)
        basis = forecaster.to_edge(point.elapsed_s, 60.0, "low").basis
        codes.append("" if basis is None else basis.code)
    assert list(dict.fromkeys(codes)) == ["too-early", "records", "own-pace"]


def test_mapping_round_trip() -> None:
    """What is kept in a file or a sidecar comes back the same."""
    kept = Prior.from_mapping(slow().to_mapping())
    assert Prior.from_mapping(json.loads(json.dumps(kept.to_mapping()))) == kept
    assert kept.runs == 2
    assert kept.shares == {"idle": 1.0}


def test_the_prior_of_the_first_model_is_taken_as_empty() -> None:
    """A sidecar of version 1 is read; nothing in its profile fits this model."""
    old = {"format": "warmwatch forecast prior", "version": 1, "log_s_per_k": []}
    assert Prior.from_mapping(old).runs == 0


@pytest.mark.parametrize(
    "change",
    [
        {"format": "other"},
        {"version": 3},
        {"parameters": ["heat"]},
        {"means": [0.0]},
        {"means": None},
        {"covariance": [[1.0]]},
        {"covariance": "none"},
        {"shares": {"idle": 2.0}},
        {"runs": "many"},
    ],
)
def test_a_mapping_that_is_no_prior_is_refused(change: dict[str, Any]) -> None:
    """A file of another form, or with numbers that no vehicle has, is told and not used."""
    with pytest.raises(ValueError, match=r"prior|invalid|could not"):
        Prior.from_mapping({**slow().to_mapping(), **change})
