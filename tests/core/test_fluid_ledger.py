"""The fluid ledger, with the library `uncertainties` as an independent reckoning of the spread."""

import json
from contextlib import nullcontext
from typing import Any

import pytest
import uncertainties.umath as umath
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import ufloat

from warmwatch.core.level.amounts import (
    fluid_from_mapping,
    fluid_to_mapping,
    is_too_large,
    mark_entry,
)
from warmwatch.core.level.ledger import (
    Act,
    Entry,
    FluidData,
    balance,
    first_fill_l,
    shown_unit,
)
from warmwatch.core.reading import Mark, MarkName

COMMON = FluidData(
    ledger=(
        Entry(Act.DRAINED, 4.25, 85.0),
        Entry(Act.FILLED, 4.5, 20.0),
        Entry(Act.LET_OUT, 0.75, 85.0),
        Entry(Act.TOPPED_UP, 0.25, 20.0),
    )
)
ENTRIES = st.builds(
    Entry,
    act=st.sampled_from(Act),
    litres=st.floats(0.05, 12),
    temp_c=st.floats(-10, 110),
    litres_err=st.floats(0.001, 0.2),
    temp_err_c=st.floats(0.01, 10),
)


def test_the_common_example_balances() -> None:
    """Drained 4.25 L hot, filled 4.5 L, 0.75 L let out, 0.25 L topped up: closes within the can's
    reading error (common practice, no source).
    """
    found = balance(COMMON)
    assert found.complete
    assert abs(found.net_l) <= 0.05
    assert found.closes
    assert found.out_l == pytest.approx(4.03, abs=0.01)
    assert first_fill_l(COMMON, 20.0) == pytest.approx(4.05, abs=0.01)


def test_without_correction_it_would_not_balance() -> None:
    """As read, 4.0 L went back for 4.25 L: the temperatures make the difference."""
    raw = 4.5 - 0.75 + 0.25 - 4.25
    assert abs(raw) > balance(COMMON).spread_l


@given(entries=st.lists(ENTRIES, min_size=1, max_size=6), density_err=st.floats(0.1, 40))
@settings(deadline=None, max_examples=60)
def test_the_spread_is_that_of_the_guide(entries: list[Entry], density_err: float) -> None:
    """GUM (JCGM 100): first-order propagation as the library `uncertainties` does it."""
    fluid = FluidData(density_err_kg_m3=density_err, ledger=tuple(entries))
    density = ufloat(860.0, density_err / 3**0.5)
    net: Any = 0.0
    for entry in entries:
        volume = ufloat(entry.litres, entry.litres_err / 3**0.5)
        rise = ufloat(entry.temp_c, entry.temp_err_c / 3**0.5) - 15.0
        alpha = 0.6278 / density
        sign = 1.0 if entry.act in (Act.FILLED, Act.TOPPED_UP) else -1.0
        net += sign * volume * umath.exp(-alpha * rise * (1 + 0.8 * alpha * rise))
    found = balance(fluid)
    assert found.net_l == pytest.approx(net.nominal_value, abs=1e-9)
    assert found.spread_l == pytest.approx(2.0 * net.std_dev, rel=1e-5, abs=1e-9)


def test_a_missing_half_is_no_balance() -> None:
    """Only drained, or only filled: nothing is claimed."""
    for act in (Act.DRAINED, Act.FILLED):
        found = balance(FluidData(ledger=(Entry(act, 4.0, 20.0),)))
        assert not found.complete
        assert not found.closes
    assert first_fill_l(FluidData(), 20.0) is None


def test_too_little_put_back_is_seen() -> None:
    """Half a litre missing does not close."""
    short = FluidData(ledger=(Entry(Act.DRAINED, 4.25, 20.0), Entry(Act.FILLED, 3.75, 20.0)))
    assert balance(short).net_l == pytest.approx(-0.5 * 0.99634, abs=1e-4)
    assert not balance(short).closes


@given(entries=st.lists(ENTRIES, max_size=5), capacity=st.none() | st.floats(1, 20))
@settings(deadline=None)
def test_the_section_comes_back_from_the_sidecar(
    entries: list[Entry], capacity: float | None
) -> None:
    """Round trip through JSON."""
    fluid = FluidData(capacity_l=capacity, ledger=tuple(entries))
    assert fluid_from_mapping(json.loads(json.dumps(fluid_to_mapping(fluid)))) == fluid


@pytest.mark.parametrize(
    ("note", "litres", "temp_c"),
    [
        ("4.25 L 85 C", 4.25, 85.0),
        ("4,25 l at 185F into the can", 4.25, 85.0),
        ("750 ml @ 85 °C", 0.75, 85.0),
        ("0.25 L", 0.25, 91.0),
        ("4.25 litres at 85 C", 4.25, 85.0),
        ("4.25 liters", 4.25, 91.0),
        ("4.5 qt 185 F", 4.258588, 85.0),  # 1 US quart = 0.946353 L (NIST Handbook 44, memory)
    ],
)
def test_an_amount_can_be_typed_with_the_mark(note: str, litres: float, temp_c: float) -> None:
    """`drained 4.25 L 85 C`; without a temperature, what came out has the fluid's."""
    entry = mark_entry(Mark(1.0, MarkName.DRAINED, note), 91.0)
    assert entry is not None
    assert entry.act is Act.DRAINED
    assert entry.litres == pytest.approx(litres, abs=1e-6)
    assert entry.temp_c == pytest.approx(temp_c)


def test_new_fluid_without_a_temperature_is_taken_as_20_with_a_wide_error() -> None:
    """What went in was not as hot as the transmission."""
    entry = mark_entry(Mark(1.0, MarkName.FILLED, "4 L"), 91.0)
    assert entry == Entry(Act.FILLED, 4.0, 20.0, temp_err_c=15.0)


@pytest.mark.parametrize(
    ("note", "unit", "litres", "temp_c"),
    [
        ("4.2 L 113", "F", 4.2, 45.0),
        ("4.2 L at 45", "C", 4.2, 45.0),
        ("4 1/2 qt 113 (clean)", "F", 4.5 * 0.946352946, 45.0),
        ("8 oz 45C", "F", 0.236588, 45.0),
        ("3 L 2 cans", "F", 3.0, 91.0),  # two cans are no temperature
        ("4 qt 8 oz", "C", 4.25 * 0.946352946, 91.0),
    ],
)
def test_a_bare_temperature_is_in_the_jobs_unit(
    note: str, unit: str, litres: float, temp_c: float
) -> None:
    """`drained 4.2 L 113` in a °F watch is at 113 °F."""
    entry = mark_entry(Mark(1.0, MarkName.DRAINED, note), 91.0, unit)
    assert entry is not None
    assert entry.litres == pytest.approx(litres, abs=1e-6)
    assert entry.temp_c == pytest.approx(temp_c)


def test_the_section_is_in_the_jobs_units() -> None:
    """`unit = "F"` holds in the section, too; amounts are told in quarts or ounces."""
    lines = [
        {"act": "drained", "amount": "4 1/2 qt", "temp": 113, "amount_err": "2 oz"},
        {"act": "filled", "amount": 4, "temp": "68"},
        {"act": "topped-up", "amount": "8 oz", "temp": "20C"},
    ]
    fluid = fluid_from_mapping({"capacity": "9 qt", "volume": "qt", "ledger": lines}, "F")
    assert fluid.capacity_l == pytest.approx(9 * 0.946352946)
    assert [round(entry.temp_c, 6) for entry in fluid.ledger] == [45.0, 20.0, 20.0]
    assert fluid.ledger[1].litres == pytest.approx(4 * 0.946352946)
    assert fluid.ledger[0].litres_err == pytest.approx(2 * 0.0295735, abs=1e-6)
    assert shown_unit(fluid) == "qt"
    assert fluid_from_mapping(json.loads(json.dumps(fluid_to_mapping(fluid))), "F") == fluid


@pytest.mark.parametrize("note", ["", "a lot", "4.25", "999 L", "L 4", "4 L 900 C"])
def test_a_note_without_an_amount_is_no_ledger_line(note: str) -> None:
    """Nothing is guessed from free text; an amount without its unit is no amount."""
    assert mark_entry(Mark(1.0, MarkName.DRAINED, note), None) is None
    assert mark_entry(Mark(1.0, MarkName.NOTE, "4 L 20 C"), None) is None


@pytest.mark.parametrize(
    ("section", "named"),
    [
        ({"capacity": 8}, "capacity"),
        ({"capacity_l": "8"}, "capacity_l"),
        ({"capacity_l": 0.1}, "capacity_l"),
        ({"density_kg_m3": 86}, "86"),
        ({"density_err_kg_m3": 1000}, "density_err"),
        ({"ledger": 5}, "ledger"),
        ({"ledger": [5]}, "line 1"),
        ({"ledger": [{"act": "spilt", "litres": 1, "temp": "20C"}]}, "spilt"),
        ({"ledger": [{"act": "filled", "litres": 1}]}, "temp"),
        ({"ledger": [{"act": "filled", "litres": -1, "temp": "20C"}]}, "litres"),
        ({"ledger": [{"act": "filled", "litres": 1, "temp": "20C", "can": 1}]}, "can"),
        ({"ledger": [{"act": "filled", "litres": 1, "temp": "300C"}]}, "300"),
        ({"ledger": [{"act": "filled", "litres": 1, "temp_c": True}]}, "temp_c"),
        ({"ledger": [{"act": "filled", "litres": 1, "temp": "20C", "litres_err": 50}]}, "err"),
        ({"ledger": [{"act": "filled", "litres": 1, "temp": "20C"}] * 51}, "50"),
    ],
)
def test_a_wrong_section_is_named(section: dict[str, Any], named: str) -> None:
    """Each mistake in the ledger is told by its key or its line."""
    with pytest.raises(ValueError, match=named):
        fluid_from_mapping(section)


@pytest.mark.parametrize(
    ("figures", "refused"),
    [
        ({"litres": 0.0}, True),
        ({"litres": 0.01}, False),
        ({"litres": 100.0}, False),
        ({"litres": 100.1}, True),
        ({"temp_c": -40.1}, True),
        ({"temp_c": -40.0}, False),
        ({"temp_c": 150.0}, False),
        ({"temp_c": 150.1}, True),
        ({"litres_err": -0.1}, True),
        ({"litres_err": 0.0}, False),
        ({"litres_err": 10.0}, False),
        ({"litres_err": 10.1}, True),
        ({"temp_err_c": -0.1}, True),
        ({"temp_err_c": 0.0}, False),
        ({"temp_err_c": 50.0}, False),
        ({"temp_err_c": 50.1}, True),
    ],
)
def test_an_amount_has_its_limits(figures: dict[str, Any], refused: bool) -> None:
    """What nobody pours: none or more than 100 L, from no can between -40 and 150 °C."""
    usual: dict[str, Any] = {"litres": 4.0, "temp_c": 20.0, "litres_err": 0.05, "temp_err_c": 2.0}
    with pytest.raises(ValueError) if refused else nullcontext():  # noqa: PT011 - limits alone
        Entry(Act.FILLED, **{**usual, **figures})


@pytest.mark.parametrize(
    ("section", "refused"),
    [
        ({"capacity_l": 0.4}, True),
        ({"capacity_l": 0.5}, False),
        ({"capacity_l": 100.0}, False),
        ({"capacity_l": 100.1}, True),
        ({"density_err_kg_m3": -0.1}, True),
        ({"density_err_kg_m3": 0.0}, False),
        ({"density_err_kg_m3": 100.0}, False),
        ({"density_err_kg_m3": 100.1}, True),
        ({"ledger": (Entry(Act.FILLED, 4.0, 20.0),) * 50}, False),
        ({"ledger": (Entry(Act.FILLED, 4.0, 20.0),) * 51}, True),
        ({"volume": "qt"}, False),
        ({"volume": "pint"}, True),
    ],
)
def test_the_fluid_has_its_limits(section: dict[str, Any], refused: bool) -> None:
    """What no transmission holds, and more lines than a job has (ours), at the last digit."""
    with pytest.raises(ValueError) if refused else nullcontext():  # noqa: PT011 - limits alone
        FluidData(**section)


@pytest.mark.parametrize(
    ("litres", "capacity_l", "too_large"),
    [(8.5, 8.5, False), (8.51, 8.5, True), (60.0, None, False), (60.1, None, True)],
)
def test_all_the_fluid_is_not_too_much(
    litres: float, capacity_l: float | None, too_large: bool
) -> None:
    """docs/watch.md: more than all the fluid is asked about; 60 L where that is not known."""
    assert is_too_large(litres, capacity_l) is too_large


def test_the_defaults_are_those_of_the_page() -> None:
    """docs/fluid.md: density 860 ±20; a can to 0.05 L, a thermometer to 5 °C (ours)."""
    assert (FluidData().density_kg_m3, FluidData().density_err_kg_m3) == (860.0, 20.0)
    entry = Entry(Act.FILLED, 4.0, 20.0)
    assert (entry.litres_err, entry.temp_err_c, entry.unit) == (0.05, 5.0, "L")


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        (FluidData(volume="mL", ledger=(Entry(Act.FILLED, 4.0, 20.0, unit="qt"),)), "mL"),
        (FluidData(ledger=(Entry(Act.FILLED, 4.0, 20.0, unit="oz"),)), "qt"),
        (FluidData(ledger=(Entry(Act.FILLED, 4.0, 20.0, unit="qt"),)), "qt"),
        (FluidData(ledger=(Entry(Act.FILLED, 4.0, 20.0, unit="mL"),)), "L"),
        (FluidData(), "L"),
    ],
)
def test_amounts_are_shown_as_they_were_told(told: FluidData, shown: str) -> None:
    """In the section's unit, else in quarts where quarts or ounces were told."""
    assert shown_unit(told) == shown
