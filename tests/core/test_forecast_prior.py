"""What earlier recordings teach a forecast."""

import json
from math import exp, floor, log, sqrt

import pytest

from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.forecast.prior import Point, Prior, expectation, learn
from warmwatch.core.phase import Phase


def warm_up(
    rate: float = 2.0, top: float = 95.0, seconds: int = 5400, phase: Phase = Phase.IDLE
) -> list[Point]:
    """Return an invented first-order warm-up from 20 degC, first at `rate` K/min, whole degrees."""
    tau = (top - 20.0) / (rate / 60.0)
    return [
        (float(t), float(floor(top - (top - 20.0) * exp(-t / tau))), phase) for t in range(seconds)
    ]


def test_a_profile_gives_back_the_time_of_its_run() -> None:
    """Learned from one run, the usual time over a stretch is that run's, within one step."""
    points = warm_up()
    prior = learn([points])
    first = {v: t for t, v, _ in reversed(points)}
    usual = prior.seconds(40.0, 80.0)
    assert usual == pytest.approx(first[80.0] - first[40.0], rel=0.05)


def test_spread_between_runs_is_found() -> None:
    """Runs whose pace differs by a known factor give that spread, blended with the default."""
    runs = [warm_up(rate) for rate in (1.5, 2.0, 2.7) * 4]
    logs = [log(r) for r in (1.5, 2.0, 2.7)]
    mean = sum(logs) / 3
    truth = sqrt(sum((x - mean) ** 2 for x in logs) / 3)
    assert learn(runs).between == pytest.approx(truth, abs=0.05)


def test_the_present_pace_moves_the_expectation() -> None:
    """A run that took twice the usual time so far is expected to stay slower than usual."""
    prior = learn([warm_up(), warm_up(2.2), warm_up(1.8)])
    usual = prior.seconds(40.0, 56.0)
    assert usual is not None
    plain = expectation(prior, 56.0, 80.0, [])
    slow = expectation(prior, 56.0, 80.0, [(40.0, 2.0 * usual)])
    assert plain is not None
    assert slow is not None
    assert 0.2 < slow[0] - plain[0] < log(2.0)
    assert slow[1] < plain[1]


def test_mapping_round_trip() -> None:
    """The JSON form reads back as the same prior."""
    prior = learn([warm_up(), warm_up(2.5)])
    again = Prior.from_mapping(json.loads(json.dumps(prior.to_mapping())))
    assert again.to_mapping() == prior.to_mapping()


@pytest.mark.parametrize(
    "change",
    [
        {"version": 99},
        {"format": "something else"},
        {"log_s_per_k": [1.0]},
        {"log_s_per_k": 5},
        {"within": -1.0},
        {"within": float("nan")},
        {"phase_shares": []},
        {"log_s_per_k": [float("inf")] * 80},
    ],
)
def test_a_mapping_that_is_no_prior_is_refused(change: dict[str, object]) -> None:
    """Another version, a damaged file or impossible numbers raise ValueError and nothing else."""
    mapping = learn([warm_up()]).to_mapping() | change
    with pytest.raises(ValueError, match="not a warmwatch forecast prior"):
        Prior.from_mapping(mapping)


def test_nothing_learned_changes_nothing() -> None:
    """Without a usable run the prior is empty and the forecast is the built-in one."""
    empty = learn([[], [(0.0, 20.0, Phase.IDLE)]])
    assert empty.runs == 0
    assert ask(empty) == ask(None)


def ask(prior: Prior | None, seconds: int = 60, rate: float = 3.0) -> tuple[float | None, ...]:
    forecaster = Forecaster(prior)
    for t, value, phase in warm_up(rate, seconds=seconds):
        forecaster.update(t, value, phase=phase, engine_rpm=700.0, speed_kmh=0.0)
    forecast = forecaster.to_edge(float(seconds - 1), 70.0, "low")
    return forecast.q10_s, forecast.q50_s, forecast.q90_s


def test_a_prior_sharpens_the_early_forecast() -> None:
    """A minute after a cold start the vehicle's own records answer within a sixth."""
    first = {v: t for t, v, _ in reversed(warm_up(3.0))}
    truth = first[70.0] - 59.0
    low, middle, high = ask(learn([warm_up(2.8), warm_up(3.2), warm_up(3.0)]))
    assert low is not None
    assert middle is not None
    assert high is not None
    assert low < truth < high
    assert abs(middle - truth) < 0.15 * truth


@pytest.mark.parametrize("faster", [1.0, 2.0])
def test_records_do_not_hide_that_this_run_levels_off(faster: float) -> None:
    """All records arrived; this run ends at 75.5: it is said no later than 10 K below the band."""
    prior = learn([warm_up(3.0 * faster), warm_up(2.7 * faster), warm_up(3.3 * faster)])
    forecaster = Forecaster(prior)
    said: list[float] = []
    for t, value, phase in warm_up(3.0, top=75.5):
        forecaster.update(t, value, phase=phase, engine_rpm=700.0, speed_kmh=0.0)
        forecast = forecaster.to_edge(t, 80.0, "low")
        if forecast.q50_s is None and t > 60.0 and not said:
            said.append(value)
    assert said
    assert said[0] <= 71.0
    assert forecast.chance < 0.1
    assert forecast.level_c == pytest.approx(75.5, abs=1.0)


def test_nothing_is_learned_of_what_no_run_reached() -> None:
    """Runs that ended at 75 tell nothing of the way to 80; the next two degrees are borrowed."""
    prior = learn([warm_up(top=75.5)])
    assert prior.seconds(60.0, 80.0) is None
    assert prior.seconds(60.0, 74.0) is not None


def test_records_of_another_way_of_heating_count_less() -> None:
    """Recorded while driving, asked while idling: the forecast moves less toward the records."""
    fast = [warm_up(6.0, phase=Phase.DRIVING) for _ in range(4)]
    same = [warm_up(6.0, phase=Phase.IDLE) for _ in range(4)]
    plain, unlike, like = ask(None)[1], ask(learn(fast))[1], ask(learn(same))[1]
    assert plain is not None
    assert unlike is not None
    assert like is not None
    assert abs(log(unlike / plain)) < 0.5 * abs(log(like / plain))
