"""Volume and temperature, against published results, an independent table and common practice."""

import csv
import math
from contextlib import nullcontext
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from warmwatch.core.level.fluid import (
    Pan,
    correction,
    expansion_ml_per_c,
    local_coefficient,
    off_temperature_ml,
    off_tilt_ml,
    vcf,
    volume_at,
)

SHARED = Path(__file__).parents[2] / "shared"
DENSITIES = st.floats(801, 1160)
TEMPS = st.floats(-40, 150)


def rows(name: str) -> list[dict[str, str]]:
    with (SHARED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows("vcf_published.csv"), ids=lambda row: row["table"])
def test_the_formula_gives_the_ten_published_results(row: dict[str, str]) -> None:
    """API MPMS 11.1 / ASTM D1250: to half of the last printed digit, or to 1e-6 where the 2004
    edition adds a constant of its own to the temperature.
    """
    published = row["published"]
    decimals = len(published.partition(".")[2])
    allowed = 0.5 * 10.0**-decimals if decimals < 7 else 1e-6
    found = correction(float(row["alpha"]), float(row["delta_t"]))
    assert found == pytest.approx(float(published), abs=allowed * 1.001)


@pytest.mark.parametrize("row", rows("vcf_cases.csv"))
def test_the_factor_for_lubricating_oils_agrees_with_a_separate_reckoning(
    row: dict[str, str],
) -> None:
    """K0 = 0, K1 = 0.6278 per degC at 15 degC, to the digits of the table (computed elsewhere)."""
    factor = vcf(float(row["density15_kg_m3"]), float(row["temp_C"]))
    assert factor == pytest.approx(float(row["vcf_to_15C"]), abs=5.1e-6)
    rise_pct = 100.0 * (1.0 / factor - 1.0)
    assert rise_pct == pytest.approx(float(row["volume_rise_vs_15C_percent"]), abs=5.1e-4)


def test_hot_fluid_is_less_when_cold() -> None:
    """4.25 L at 85 degC is about 4.05 L at 20 degC for 860 kg/m3 (common practice, no source)."""
    assert volume_at(4.25, 85, 20, 860) == pytest.approx(4.05, abs=0.01)


def test_expansion_agrees_with_general_advice() -> None:
    """12 L grow by about 8.4 mL per degC, 0.0007 to 0.001 relative (general advice, published)."""
    assert expansion_ml_per_c(12, 20, 860) == pytest.approx(8.4, rel=0.1)
    assert 0.0007 <= local_coefficient(860, 90) <= 0.001


@given(volume=st.floats(0.1, 20), low=TEMPS, high=TEMPS, density=DENSITIES)
@settings(deadline=None)
def test_there_and_back_is_the_same_volume(
    volume: float, low: float, high: float, density: float
) -> None:
    """Bringing a volume to another temperature and back changes nothing, and warmer is more."""
    there = volume_at(volume, low, high, density)
    assert volume_at(there, high, low, density) == pytest.approx(volume, rel=1e-12)
    assert (there >= volume) == (high >= low) or math.isclose(there, volume, rel_tol=1e-12)


@given(temp=st.floats(-30, 140), density=DENSITIES)
@settings(deadline=None)
def test_the_local_coefficient_is_the_slope_of_the_factor(temp: float, density: float) -> None:
    """The closed form equals a central difference of ln(1/VCF)."""
    step = 0.01
    slope = -(math.log(vcf(density, temp + step)) - math.log(vcf(density, temp - step))) / (
        2 * step
    )
    assert local_coefficient(density, temp) == pytest.approx(slope, rel=1e-5)


def test_a_level_checked_too_warm_is_low_and_too_cold_is_high() -> None:
    """10 degC off with 8.5 L is 0.80 % each way (computed in the reference, 85 to 95 degC)."""
    warm = off_temperature_ml(8.5, 85, 95, 860)
    assert warm == pytest.approx(-0.008 * 8500, rel=0.02)
    assert off_temperature_ml(8.5, 95, 85, 860) > 0


def test_tilt_costs_the_wedge_under_the_plug() -> None:
    """Plain geometry: surface times half its length times tan(tilt), worked by hand."""
    pan = Pan(400, 300)
    assert off_tilt_ml(pan, 2.0) == pytest.approx(400 * 300 * 200 * 0.0349207695 / 1000)
    assert off_tilt_ml(pan, -2.0, "crosswise") == pytest.approx(120 * 150 * 0.0349207695)
    assert off_tilt_ml(Pan(400, 300, plug_mm=0.0), 2.0) == 0.0


@pytest.mark.parametrize(
    ("density", "temp", "named"), [(700, 20, "700"), (1200, 20, "1200"), (860, 200, "200")]
)
def test_outside_the_standard_nothing_is_reckoned(density: float, temp: float, named: str) -> None:
    """A density or temperature for which the formula was not made is refused by its value."""
    with pytest.raises(ValueError, match=named):
        vcf(density, temp)


def test_an_impossible_pan_is_refused() -> None:
    """A size or a tilt that no vehicle has is named."""
    with pytest.raises(ValueError, match="length_mm"):
        Pan(1, 300)
    with pytest.raises(ValueError, match="plug_mm"):
        Pan(400, 300, -1)
    with pytest.raises(ValueError, match="45"):
        off_tilt_ml(Pan(400, 300), 45)


@pytest.mark.parametrize(
    ("density", "temp", "holds"),
    [
        (800.9, 15.0, True),
        (800.8, 15.0, False),
        (1163.5, 15.0, True),
        (1163.6, 15.0, False),
        (860.0, -50.0, True),
        (860.0, -50.1, False),
        (860.0, 150.0, True),
        (860.0, 150.1, False),
    ],
)
def test_the_limits_of_the_standard_are_kept(density: float, temp: float, holds: bool) -> None:
    """docs/fluid.md: API MPMS 11.1 for lubricating oils; degrees from memory."""
    if holds:
        assert vcf(density, temp) > 0.0
    else:
        with pytest.raises(ValueError, match="outside"):
            vcf(density, temp)


@pytest.mark.parametrize(
    ("sizes", "refused"),
    [
        ((10.0, 3000.0, None), False),
        ((9.9, 300.0, None), True),
        ((300.0, 3000.1, None), True),
        ((300.0, 300.0, 0.0), False),
        ((300.0, 300.0, 3000.0), False),
        ((300.0, 300.0, -0.1), True),
        ((300.0, 300.0, 3000.1), True),
    ],
)
def test_a_pan_has_a_size(sizes: tuple[float, float, float | None], refused: bool) -> None:
    """Between a centimetre and three metres, the plug within it (ours)."""
    with pytest.raises(ValueError, match="mm") if refused else nullcontext():
        Pan(*sizes)


def test_a_tilt_of_thirty_degrees_is_the_most() -> None:
    """Beyond it the plain geometry says nothing (ours); to the degree on both sides."""
    for tilt in (30.0, -30.0):
        assert off_tilt_ml(Pan(400, 300), tilt) > 0.0
    for tilt in (30.1, -30.1):
        with pytest.raises(ValueError, match="no small error"):
            off_tilt_ml(Pan(400, 300), tilt)
