"""Temperatures and plausible ranges."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.core.units import (
    c_to_f,
    f_to_c,
    from_c,
    implausible,
    is_plausible,
    parse_temperature,
    plausible,
)


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


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        # Below, the fault codes of one-byte temperatures: 00 is -40, FF 215 (A-40, SAE J1979)
        ("fluid_c", -39.0, 180.0),
        ("engine_oil_c", -39.0, 180.0),
        ("coolant_c", -39.0, 150.0),
        ("intake_c", -39.0, 150.0),
        ("ambient_c", -39.0, 70.0),
        ("engine_rpm", 0.0, 10000.0),
        ("speed_kmh", 0.0, 300.0),
        ("voltage_v", 0.0, 60.0),
        # SAE J1979, service 01: percentages, and two bytes of seconds
        ("load_pct", 0.0, 100.0),
        ("throttle_pct", 0.0, 100.0),
        ("run_time_s", 0.0, 65535.0),
        ("in_park", 0.0, 1.0),
        # SAE J1939-71, from memory: 0.5 l/bit from -62.5, raw to 250; four bits each
        ("oil_level_offset_l", -62.5, 62.5),
        ("oil_level_timer_min", 0.0, 13.0),
        ("oil_level_status", 0.0, 15.0),
        ("oil_level_pct", 0.0, 125.0),
    ],
)
def test_each_quantity_has_its_range(name: str, low: float, high: float) -> None:
    """Both ends are believed, what lies beyond is not; where no standard is named, it is ours."""
    for value, fits in ((low, True), (high, True), (low - 0.1, False), (high + 0.1, False)):
        assert is_plausible(name, value) is fits
        assert (implausible(name, value) is None) is fits
        assert (name in plausible({"something": 1.0, name: value})) is fits


def test_the_reason_names_the_figures_with_their_unit() -> None:
    """Only a temperature is turned into the unit of show, so only its figures end with `_c`."""
    too_hot, too_fast = implausible("fluid_c", 215.0), implausible("engine_rpm", 20000.0)
    assert too_hot is not None
    assert too_hot.figures == {"value_c": 215.0, "low_c": -39.0, "high_c": 180.0}
    assert too_fast is not None
    assert too_fast.figures == {"value": 20000.0, "low": 0.0, "high": 10000.0}
    broken = implausible("something", math.nan)
    assert broken is not None
    assert broken.code == "not-a-number"
    assert not is_plausible("something", math.inf)
