"""Amounts as they are told, against the published factors."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.core.volume import LITRES, UNITS, in_unit, parse_volume


def test_the_factors_are_those_of_nist() -> None:
    """NIST SP 811 (2008), B.8: US liquid quart 9.463 529 E-04 m³, US fluid ounce 2.957 353 E-05."""
    assert round(LITRES["qt"] / 1000, 10) == 9.463529e-04
    assert round(LITRES["oz"] / 1000, 11) == 2.957353e-05


@pytest.mark.parametrize(
    ("text", "litres", "unit"),
    [
        ("4.25 L", 4.25, "L"),
        ("4,25 l", 4.25, "L"),
        ("4 1/2 qt", 4.5 * 0.946352946, "qt"),
        ("1/2 quart", 0.5 * 0.946352946, "qt"),
        ("8 oz", 0.236588, "oz"),
        ("8 fl oz", 0.236588, "oz"),
        ("8 fl. oz.", 0.236588, "oz"),
        ("4 qt 8 oz", 4.25 * 0.946352946, "qt"),
        ("850 mL", 0.85, "mL"),
        ("850 millilitres", 0.85, "mL"),
        ("4 liters", 4.0, "L"),
        ("15/16 qt", 0.9375 * 0.946352946, "qt"),
        ("1 l.", 1.0, "L"),
        ("2 ounces", 2 * 0.0295735, "oz"),
    ],
)
def test_shop_ways_of_writing_an_amount(text: str, litres: float, unit: str) -> None:
    """Litres, millilitres, quarts with fractions and ounces are read, and their unit is kept."""
    found = parse_volume(text)
    assert found.litres == pytest.approx(litres, abs=1e-6)
    assert found.unit == unit


@pytest.mark.parametrize(
    ("text", "litres"), [("100 mL 200 mL", 0.3), ("1.1 L 100 mL", 1.2), ("4.35 L", 4.35)]
)
def test_decimal_amounts_are_read_to_their_last_digit(text: str, litres: float) -> None:
    """Tenths added up in binary must not appear as 0.30000000000000004 in a recording."""
    assert parse_volume(text).litres == litres


@pytest.mark.parametrize(
    "text", ["4.5", "", "qt", "4 quartz", "4 1/0 qt", "-4 L", "a lot", "4 L L"]
)
def test_what_is_no_amount_is_refused(text: str) -> None:
    """An amount without a unit, or with a word that only begins like one, is none."""
    with pytest.raises(ValueError, match=r"unit|amount|zero"):
        parse_volume(text)


@given(st.floats(0.01, 90), st.sampled_from(UNITS))
def test_units_come_back(litres: float, unit: str) -> None:
    """What is shown in a unit reads back as the same amount."""
    assert parse_volume(f"{in_unit(litres, unit):.9f}", unit).litres == pytest.approx(litres)
