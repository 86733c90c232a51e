"""A forecast in words."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.words.forecast import (
    Shown,
    forecast_text,
    levelling_text,
    steady,
    time_text,
)


def forecast(
    q10: float | None,
    q50: float | None,
    q90: float | None,
    chance: float = 0.95,
    level_c: float | None = None,
    now: float = 0.0,
) -> Forecast:
    return Forecast(now, "low", q10, q50, q90, chance, level_c, 1.5)


@pytest.mark.parametrize(
    ("times", "expected"),
    [
        ((250.0, 370.0, 545.0), "about 6 min, 4 to 9"),
        ((30.0, 42.0, 58.0), "about 40 s, 30 to 60"),
        ((1100.0, 1500.0, 2300.0), "about 25 min, 20 to 40"),
        ((595.0, 605.0, 612.0), "about 10 min"),
        ((0.0, 4.0, 12.0), "any moment"),
    ],
)
def test_rounded_to_what_the_spread_supports(
    times: tuple[float, float, float], expected: str
) -> None:
    """The wider the spread, the coarser the words."""
    assert time_text(*times) == expected


def test_no_time_where_it_is_not_reached() -> None:
    """Without quantiles no figure is given, and a low chance is said plainly."""
    assert forecast_text(forecast(None, None, None, 0.1)) == ("not reached by heating like this")
    assert forecast_text(forecast(None, None, None, 0.5)) == ""


def test_a_refusal_is_as_sure_as_the_chance() -> None:
    """Between yes and no it is said so; a fluid that cools is told as one that cools."""
    assert forecast_text(forecast(None, None, None, 0.45)) == ""
    assert forecast_text(forecast(None, None, None, 0.3)) == (
        "perhaps not reached by heating like this"
    )
    cools = Forecast(0.0, "low", None, None, None, 0.02, None, -0.7)
    assert forecast_text(cools) == "not reached while the fluid cools"


@pytest.mark.parametrize(
    ("unit", "expected"),
    [
        ("C", "levelling off near 78 °C, 2 °C below the band"),
        ("F", "levelling off near 172 °F, 4 °F below the band"),
    ],
)
def test_levelling_off_names_level_and_missing_degrees(unit: str, expected: str) -> None:
    """The level and the distance to the band are given in the mechanic's unit."""
    dull = forecast(None, None, None, 0.1, level_c=77.9)
    assert levelling_text(dull, 80.0, unit) == expected


def test_levelling_off_is_silent_when_it_cannot_be_said() -> None:
    """No level, or one inside the band, gives no words."""
    assert levelling_text(forecast(None, None, None), 80.0) == ""
    assert levelling_text(forecast(None, None, None, level_c=81.0), 80.0) == ""
    assert levelling_text(forecast(None, None, None, 0.4, level_c=78.0), 80.0) == ""


def test_level_and_missing_degrees_agree() -> None:
    """79.6 is not said to be 80, one below 80."""
    dull = forecast(None, None, None, 0.1, level_c=79.6)
    assert levelling_text(dull, 80.0) == "levelling off near 79 °C, 1 °C below the band"


def test_what_is_shown_is_never_far_from_the_forecast() -> None:
    """A wide spread is no reason to hold an old figure back: 2 min shown for 4 min is wrong."""
    shown: Shown | None = None
    for now in range(600):
        left = 150.0 + now / 2.0  # the load went, and the time grows again
        made = forecast(left / 3.0, left, 2.5 * left, now=float(now))
        shown = steady(shown, made)
        assert shown is not None
        assert shown.middle_s - now == pytest.approx(left, rel=0.15, abs=8.0)
        assert shown.early_s - now == pytest.approx(left / 3.0, rel=0.2, abs=8.0)
        assert shown.late_s is not None
        assert shown.late_s - now == pytest.approx(2.5 * left, rel=0.2)


def test_a_wide_spread_leaves_the_middle_its_size() -> None:
    """However wide the spread, the middle is rounded by no more than a quarter."""
    assert time_text(30.0, 170.0, 500.0).startswith("about 3 min")
    for middle in range(100, 3000, 7):
        said = float(time_text(middle / 4.0, float(middle), 4.0 * middle).split()[1])
        assert 60.0 * said == pytest.approx(middle, rel=0.25)


def test_a_jittering_forecast_counts_down_evenly() -> None:
    """Small moves of the forecast do not reach the screen: the figure only goes down."""
    shown: Shown | None = None
    figures = []
    for now in range(0, 240, 1):
        jitter = 12.0 if now % 2 else -12.0
        left = 600.0 - now + jitter
        shown = steady(shown, forecast(left * 0.8, left, left * 1.3, now=float(now)))
        assert shown is not None
        figures.append(shown.middle_s - now)
    assert all(a > b for a, b in itertools.pairwise(figures))


def test_words_do_not_flicker_between_two_roundings() -> None:
    """A forecast that wavers about a rounding edge changes the words at most every 20 s."""
    shown: Shown | None = None
    said: list[tuple[int, str]] = []
    for now in range(400):
        left = 690.0 + 50.0 * (now % 3 - 1)
        made = forecast(left * 0.75, left, left * 1.4, now=float(now))
        shown = steady(shown, made)
        text = forecast_text(made, shown)
        if not said or said[-1][1] != text:
            said.append((now, text))
    assert all(b - a >= 20 for (a, _), (b, _) in itertools.pairwise(said))


def test_the_last_minute_is_counted_down() -> None:
    """Near the edge the words keep up: never more than 15 s behind the forecast."""
    shown: Shown | None = None
    for now in range(90):
        left = 90.0 - now
        made = forecast(left * 0.8, left, left * 1.3, now=float(now))
        shown = steady(shown, made)
        text = forecast_text(made, shown)
        said = 0.0 if text == "any moment" else float(text.split()[1])
        assert "min" in text or abs(said - left) <= 15.0


def test_a_leap_is_followed_at_once() -> None:
    """When the load changes the old figure is wrong and goes at once."""
    shown = steady(None, forecast(500.0, 600.0, 720.0))
    after = steady(shown, forecast(150.0, 180.0, 230.0, now=1.0))
    assert after is not None
    assert after.middle_s == 181.0


def test_another_edge_starts_afresh() -> None:
    """The time to the top has nothing to do with the time to the bottom of the band."""
    shown = steady(None, forecast(500.0, 600.0, 720.0))
    top = Forecast(1.0, "high", 100.0, 590.0, 900.0, 0.9, None, 1.0)
    assert steady(shown, top) == Shown("high", 101.0, 591.0, 901.0)


@given(st.floats(0, 1e5), st.floats(0, 1e5), st.floats(0, 1e5), st.sampled_from([0.0, 100.0, 1e6]))
def test_words_keep_their_order(a: float, b: float, c: float, now: float) -> None:
    """Whatever the quantiles, the words are short and the figures in them are in order."""
    early, middle, late = sorted((a, b, c))
    text = forecast_text(forecast(early, middle, late, now=now))
    numbers = [float(w.rstrip(",")) for w in text.split() if w[0].isdigit()]
    assert 0 < len(text) < 40
    if len(numbers) == 3:
        assert numbers[1] <= numbers[0] <= numbers[2]
