"""When a forecast is said aloud, second by second; the figures are ours (see alerts.py)."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from warmwatch.core.alerts import Alerts, Ceiling, why
from warmwatch.core.band import Band, Place
from warmwatch.core.events import EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job

JOB = Job(Band(80.0, 95.0), lead_s=180.0, top_lead_s=120.0)
RISING = Forecast(0.0, "low", 300.0, 400.0, 500.0, 0.9, None, 1.0, "enter")
TOP = Forecast(0.0, "high", 300.0, 400.0, 500.0, 0.9, None, 1.0, "leave")
FALLING = Forecast(0.0, "high", 300.0, 400.0, 500.0, 0.9, None, -1.0, "enter")
BOTTOM = Forecast(0.0, "low", 300.0, 400.0, 500.0, 0.9, None, -1.0, "leave")
SOON = replace(RISING, q10_s=150.0, q50_s=180.0, q90_s=360.0)
AWAY_C = {Place.BELOW: 70.0, Place.INSIDE: 87.0, Place.ABOVE: 105.0, Place.UNSEEN: 87.0}

At = Callable[[int], Forecast]


def said(place: Place, at: At, seconds: int, fluid_c: float | None = None) -> list[tuple[int, str]]:
    """Return what is said in so many seconds, with the second."""
    alerts, found = Alerts(JOB), []
    for second in range(seconds):
        fluid = AWAY_C[place] if fluid_c is None else fluid_c
        kind = alerts.step(float(second), place, fluid, at(second))
        if kind is not None:
            found.append((second, str(kind)))
    return found


def always(forecast: Forecast) -> At:
    return lambda _: forecast


def test_near_is_said_once_it_has_held_for_ten_seconds() -> None:
    """At the lead exactly, once, and anew after each second that takes it back."""
    assert said(Place.BELOW, always(SOON), 300) == [(10, "nearing")]
    assert said(Place.BELOW, lambda t: RISING if t == 9 else SOON, 300) == [(20, "nearing")]


@pytest.mark.parametrize(
    "forecast",
    [
        replace(SOON, q50_s=180.1),
        replace(SOON, q90_s=360.1),  # nobody knows yet
        replace(SOON, chance=0.39),
        replace(SOON, q10_s=None, q50_s=None, q90_s=None),
    ],
)
def test_near_is_not_said_before_the_lead_or_while_nobody_knows(forecast: Forecast) -> None:
    assert said(Place.BELOW, always(forecast), 300) == []


def test_near_is_said_with_two_chances_in_five() -> None:
    assert said(Place.BELOW, always(replace(SOON, chance=0.4)), 20) == [(10, "nearing")]


def test_a_degree_away_needs_no_forecast() -> None:
    """At 79 °C and rising it is near at once; at 78.9, falling, or minutes away it is not."""
    assert said(Place.BELOW, always(RISING), 9, 79.0) == []  # surely more than three minutes away
    close = replace(RISING, q10_s=180.0)
    assert said(Place.BELOW, always(close), 9, 79.0) == [(0, "nearing")]
    assert said(Place.BELOW, always(close), 9, 78.9) == []
    assert said(Place.BELOW, always(replace(close, rate_c_per_min=0.0)), 9, 79.0) == [
        (0, "nearing")
    ]
    assert said(Place.BELOW, always(replace(close, rate_c_per_min=-0.1)), 9, 79.0) == []


def test_a_near_that_proved_early_is_forgotten_after_a_minute() -> None:
    """Two leads away for a minute, then near again: said again; a second less: not."""

    def away(seconds: int) -> At:
        return lambda t: RISING if 20 <= t < 20 + seconds else SOON

    assert said(Place.BELOW, away(61), 300) == [(10, "nearing"), (91, "nearing")]
    assert said(Place.BELOW, away(60), 300) == [(10, "nearing")]
    not_far = replace(RISING, q50_s=360.0)
    assert said(Place.BELOW, lambda t: not_far if 20 <= t < 200 else SOON, 300) == [(10, "nearing")]


def test_within_two_degrees_it_is_not_forgotten() -> None:
    """However long the forecast becomes: a fluid that dawdles before the band is near it."""
    for fluid_c, again in ((78.0, []), (77.9, [(91, "nearing")])):
        alerts, found = Alerts(JOB), []
        for second in range(300):
            at = RISING if 20 <= second < 81 else SOON
            level_c = fluid_c if 20 <= second < 81 else 70.0
            if kind := alerts.step(float(second), Place.BELOW, level_c, at):
                found.append((second, str(kind)))
        assert found == [(10, "nearing"), *again]


def test_only_levelling_off_says_where_the_fluid_settles() -> None:
    """And a `nearing` says when it comes by cooling."""
    dull, falling = replace(RISING, level_c=75.0), replace(FALLING, level_c=98.0)
    assert [str(r) for r in why(EventKind.LEVELLING_OFF, dull, 80.0)] == ["levels-off level_c=75"]
    (holds,) = why(EventKind.LEVELLING_OFF, falling, 95.0)
    assert str(holds) == "holds-above level_c=98 edge_c=95"
    assert why(EventKind.NEARING, dull, 80.0) == ()
    assert [str(r) for r in why(EventKind.NEARING, falling, 95.0)] == ["cooling"]
    assert why(EventKind.TOP_NEARING, dull, 95.0) == ()


@pytest.mark.parametrize(("forecast", "name"), [(TOP, "top-nearing"), (BOTTOM, "bottom-nearing")])
def test_the_end_of_the_window_is_said_after_five_seconds(forecast: Forecast, name: str) -> None:
    """Two minutes ahead, once; not at two minutes and a bit."""
    soon = replace(forecast, q10_s=60.0, q50_s=120.0, q90_s=900.0)
    assert said(Place.INSIDE, always(soon), 100) == [(5, name)]
    assert said(Place.INSIDE, always(replace(soon, q50_s=120.1)), 100) == []
    turned = {TOP: BOTTOM, BOTTOM: TOP}[forecast]
    assert said(Place.INSIDE, lambda t: turned if t == 3 else soon, 100) == [(9, name)]


def test_a_degree_below_the_top_it_is_near() -> None:
    close = replace(TOP, q10_s=120.0)
    assert said(Place.INSIDE, always(close), 3, 94.0) == [(0, "top-nearing")]
    assert said(Place.INSIDE, always(close), 3, 93.9) == []
    assert said(Place.INSIDE, always(replace(close, rate_c_per_min=0.0)), 3, 94.0) == []
    assert said(Place.INSIDE, always(replace(close, q10_s=120.1)), 3, 94.0) == []


def test_cooling_towards_the_band_is_near_as_well() -> None:
    """By the same lead; a fluid that still warms does not cool into the band."""
    soon = replace(FALLING, q10_s=100.0, q50_s=180.0, q90_s=360.0)
    assert said(Place.ABOVE, always(soon), 300) == [(10, "nearing")]
    assert said(Place.ABOVE, always(replace(soon, rate_c_per_min=0.5)), 300) == []
    close = replace(FALLING, q10_s=180.0)
    assert said(Place.ABOVE, always(close), 3, 96.0) == [(0, "nearing")]
    # A fluid that has just left the band at the top stands beside it without coming back.
    assert said(Place.ABOVE, always(replace(close, rate_c_per_min=0.0)), 3, 96.0) == []


def test_nothing_is_said_while_the_place_is_not_known() -> None:
    assert said(Place.UNSEEN, always(SOON), 300) == []


DULL = replace(RISING, chance=0.25, level_c=75.0)


def test_levelling_off_is_said_after_a_minute() -> None:
    assert said(Place.BELOW, always(DULL), 300) == [(60, "levelling-off")]
    assert said(Place.BELOW, always(replace(DULL, chance=0.26)), 300) == []
    assert said(Place.BELOW, always(replace(DULL, level_c=None)), 300) == []


def test_levelling_off_is_said_again_two_degrees_farther_away() -> None:
    lower = replace(DULL, level_c=73.0)
    twice = [(60, "levelling-off"), (100, "levelling-off")]
    assert said(Place.BELOW, lambda t: DULL if t < 100 else lower, 300) == twice
    nearly = replace(DULL, level_c=73.1)
    assert said(Place.BELOW, lambda t: DULL if t < 100 else nearly, 300) == twice[:1]
    # Of a fluid that cools towards the band, farther away is higher.
    holds, higher = (replace(FALLING, chance=0.2, level_c=c) for c in (98.0, 100.0))
    assert said(Place.ABOVE, lambda t: holds if t < 100 else higher, 300) == twice
    assert said(Place.ABOVE, lambda t: higher if t < 100 else holds, 300) == twice[:1]


def test_once_all_is_well_again_levelling_off_is_news() -> None:
    """A chance of 0.6 in between, then a dull minute: said again."""

    def at(between: float) -> At:
        return lambda t: replace(RISING, chance=between) if 100 <= t < 110 else DULL

    assert said(Place.BELOW, at(0.6), 300) == [(60, "levelling-off"), (170, "levelling-off")]
    assert said(Place.BELOW, at(0.59), 300) == [(60, "levelling-off")]


def test_a_new_approach_may_say_everything_once_more() -> None:
    alerts = Alerts(JOB)
    found = [alerts.step(float(t), Place.BELOW, 70.0, SOON) for t in range(30)]
    alerts.rearm()
    found += [alerts.step(float(t), Place.BELOW, 70.0, SOON) for t in range(30, 60)]
    assert found.count(EventKind.NEARING) == 2
    assert found[40] is EventKind.NEARING  # ten seconds after it began anew


def test_a_ceiling_needs_two_readings_and_a_real_fall() -> None:
    """At the limit twice; again only once it was three degrees below."""
    ceiling = Ceiling("fluid", 110.0)
    told = [ceiling.step(value) for value in (110.0, 109.9, 110.0, 112.0, 107.0, 111.0, 111.0)]
    assert [reason is not None for reason in told] == [False, False, True, *[False] * 4]
    assert told[2] is not None
    assert told[2].figures == {"value_c": 110.0, "limit_c": 110.0}
    assert ceiling.hot == told[2]
    assert ceiling.step(106.9) is None
    assert ceiling.hot is None
    assert [ceiling.step(110.0) is not None for _ in range(3)] == [False, True, False]
