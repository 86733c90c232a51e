"""The forecast in troubles: holes with old values, cooling, a second start, slow climbs."""

import itertools

import pytest

from tests.core.test_forecast import straight, whole
from warmwatch.core.band import Band
from warmwatch.core.forecast.forecaster import Forecast, Forecaster
from warmwatch.core.job import Job
from warmwatch.core.phase import Phase
from warmwatch.core.reading import Reading
from warmwatch.core.watch import Watch


def test_a_catch_up_after_a_hole_promises_nothing_early() -> None:
    """A hole of 300 s and three rows of the old value: then the same as without a hole, by half."""
    forecaster, whole_run = straight(900), straight(1200)
    forecaster.restart()
    for t in range(1200, 1400):
        if t == 1203:
            forecaster.restart()  # the jump is believed only when it has stayed
        value = 50.0 if t < 1203 else whole(20.0 + t / 30.0)
        forecaster.update(float(t), value, phase=Phase.IDLE, engine_rpm=700.0, speed_kmh=0.0)
        forecast = forecaster.to_edge(float(t), 80.0, "low")
        seen = whole(20.0 + t / 30.0)
        whole_run.update(float(t), seen, phase=Phase.IDLE, engine_rpm=700.0, speed_kmh=0.0)
        if t < 1213:
            assert forecast.q50_s is None
            assert forecast.chance == 0.5
        else:
            unbroken = whole_run.to_edge(float(t), 80.0, "low")
            assert forecast.q50_s == pytest.approx(unbroken.q50_s, rel=0.5)
            assert forecast.rate_c_per_min < 4.0


@pytest.mark.parametrize("phase", [Phase.OFF, Phase.UNKNOWN])
def test_a_cooling_fluid_levels_off_nowhere(phase: Phase) -> None:
    """Fluid that cools out of the band from its top is never said to level off near the band."""
    forecaster = Forecaster()
    for t in range(1800):
        forecaster.update(float(t), whole(90.0 - t / 100.0), phase=phase)
        if t > 300:
            assert t < 1000 or forecaster.to_edge(float(t), 80.0, "low").level_c is None
            assert forecaster.to_edge(float(t), 90.0, "high").level_c is None


@pytest.mark.slow
def test_an_engine_started_again_is_no_plateau() -> None:
    """After an hour of cooling a rise of 1.5 K/min is a warm-up: no level, and soon a time.

    The rise goes on in a straight line, which no vehicle does: the time need not be exact.
    """
    forecaster, value = Forecaster(), 95.0
    for t in range(4000):
        off = t < 3600
        value += -40.0 / 3600.0 if off else 1.5 / 60.0
        phase, rpm = (Phase.OFF, 0.0) if off else (Phase.IDLE, 700.0)
        forecaster.update(float(t), whole(value), phase=phase, engine_rpm=rpm, speed_kmh=0.0)
        forecast = forecaster.to_edge(float(t), 80.0, "low")
        if not off:
            assert forecast.level_c is None
    truth = (80.0 - value) / 1.5 * 60.0
    assert forecast.q50_s is not None
    assert truth / 2.0 < forecast.q50_s < 2.0 * truth


@pytest.mark.slow
@pytest.mark.parametrize("period", [1.0, 5.2])
def test_a_slow_climb_is_not_now_promised_and_now_refused(period: float) -> None:
    """Between the steps of a slow climb (one in 50 s) times do not come and go on a screen."""
    forecaster, given = Forecaster(), []
    for t in (i * period for i in range(int(1800 / period))):
        value = whole(20.0 + 1.2 * t / 60.0)
        forecaster.update(t, value, phase=Phase.IDLE, engine_rpm=700.0, speed_kmh=0.0)
        given.append(forecaster.to_edge(t, 80.0, "low").q50_s is not None)
    assert given[-1]
    assert sum(a != b for a, b in itertools.pairwise(given)) <= 3


def test_the_chance_of_one_question_alone_is_the_bare_one() -> None:
    """Asked rarely the chance does not hang on what was said minutes before."""
    asked, fresh = straight(900), straight(1500)
    asked.to_edge(900.0, 95.0, "low")
    for t in range(901, 1501):
        value = whole(20.0 + t / 30.0)
        asked.update(float(t), value, phase=Phase.IDLE, engine_rpm=700.0, speed_kmh=0.0)
    assert asked.to_edge(1500.0, 95.0, "low").chance == fresh.to_edge(1500.0, 95.0, "low").chance


def test_above_the_band_the_first_forecast_is_one_of_cooling() -> None:
    """Before the place is confirmed, too, nobody is told of warming up to a band far below."""
    results = Watch(Job(Band(35.0, 45.0))).step(Reading(0.0, {"fluid_c": 90.0}))
    (forecast,) = [result for result in results if isinstance(result, Forecast)]
    assert (forecast.edge, forecast.to) == ("high", "enter")
