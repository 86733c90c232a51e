"""Temperatures and plausible ranges."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.core.units import c_to_f, f_to_c, from_c, implausible, parse_temperature


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"),
    [
        (0.0, 32.0),  # definition of the Fahrenheit scale
        (100.0, 212.0),  # definition of the Fahrenheit scale
        (-40.0, -40.0),  # where both scales meet, by arithmetic
        (85.0, 185.0),  # common practice, no source: the band 185 to 203 degF is 85 to 95 degC
        (95.0, 203.0),  # common practice, no source
    ],
)
def test_scales_meet_at_the_fixed_points(celsius: float, fahrenheit: float) -> None:
    """Both directions agree with the fixed points, exactly."""
    assert c_to_f(celsius) == fahrenheit
    assert f_to_c(fahrenheit) == celsius


@given(st.floats(-100, 500))
def test_there_and_back(celsius: float) -> None:
    """degC to degF and back is the same temperature."""
    assert f_to_c(c_to_f(celsius)) == pytest.approx(celsius, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "unit", "celsius"),
    [
        ("85", "C", 85.0),
        ("185", "F", 85.0),
        ("185F", "C", 85.0),
        ("85 °C", "F", 85.0),
        ("29,5", "C", 29.5),
        ("-40f", "C", -40.0),
    ],
)
def test_a_stated_unit_wins(text: str, unit: str, celsius: float) -> None:
    """A unit in the text wins over the default, and a decimal comma is a decimal mark."""
    assert parse_temperature(text, unit) == celsius


@pytest.mark.parametrize("text", ["", "warm", "8 5", "85K", "nan", "1e2", "1.234,5"])
def test_no_temperature_is_refused(text: str) -> None:
    """What is no temperature is refused, not guessed."""
    with pytest.raises(ValueError, match="not a temperature"):
        parse_temperature(text)


def test_from_c_shows_in_the_unit_asked() -> None:
    """Showing converts degF only."""
    assert from_c(85.0, "F") == 185.0
    assert from_c(85.0, "C") == 85.0


@pytest.mark.parametrize("code_c", [-40.0, 215.0, float("nan"), float("inf")])
def test_codes_of_a_failed_sensor_are_implausible(code_c: float) -> None:
    """Raw 00 and FF of a one-byte temperature (A-40, SAE J1979) are not believed for the fluid."""
    assert implausible("fluid_c", code_c)


def test_the_edges_of_a_range_are_plausible() -> None:
    """Ranges are inclusive, and an unknown quantity has none."""
    assert implausible("fluid_c", -39.0) is None
    assert implausible("fluid_c", 180.0) is None
    assert implausible("something", 1e9) is None
