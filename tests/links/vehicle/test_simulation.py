"""The invented vehicle in motion: balance, plausibility, repeatability and its clock."""

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from warmwatch.core.reading import MarkName
from warmwatch.demo.driver import HOLD_S, REST_S, Way, demand
from warmwatch.demo.plant import COOLANT, Demand, Plant, Temperatures
from warmwatch.demo.scenario import METHODS, make_scenario
from warmwatch.demo.simulation import STEP_S, State, Vehicle, VehicleClock, outline
from warmwatch.errors import UsageError


def after(vehicle: Vehicle, minutes: float) -> State:
    vehicle.advance_to(60.0 * minutes)
    return vehicle.state


def rates(method: str, minutes: int, **given: float) -> list[float]:
    """Return the rise of the fluid in each minute, degC/min."""
    vehicle = Vehicle(make_scenario(method, minutes=minutes, **given))  # type: ignore[arg-type]
    fluid = [after(vehicle, minute).temps.sump_c for minute in range(minutes + 1)]
    return [b - a for a, b in pairwise(fluid)]


@pytest.mark.parametrize("method", METHODS)
def test_energy_balance_of_a_whole_warm_up(method: str) -> None:
    """Over 20 minutes heat made = heat stored in the four masses + heat lost."""
    scenario = make_scenario(method, seed=3)
    plant = Plant()
    vehicle = Vehicle(scenario, plant)
    end = after(vehicle, 20.0)
    stored_j = sum(
        mass.stored_j(start_c, end_c)
        for mass, start_c, end_c in zip(
            plant.masses, scenario.start.as_tuple(), end.temps.as_tuple(), strict=True
        )
    )
    assert end.made_j > 1e6
    assert stored_j + end.lost_j == pytest.approx(end.made_j, rel=1e-6)


def test_nothing_warms_without_heat() -> None:
    """A vehicle as warm as its surroundings, with the engine off, stays so."""
    off = Demand(engine_rpm=0.0, torque_nm=0.0, loss=0.0)
    same = Temperatures(20.0, 20.0, 20.0, 20.0)
    assert Plant().advance(same, off, 20.0, 600.0) == (same, 0.0, 0.0)


def test_idle_rates_are_those_asked_for() -> None:
    """Cold idle gains 0.9 to 1.6 degC/min once it is under way (common practice, no source)."""
    slopes = rates("idle", 30, start_c=20.0, ambient_c=20.0)
    assert all(0.9 <= slope <= 1.6 for slope in slopes[2:25])


@pytest.mark.slow
def test_idle_levels_off_in_the_eighties_or_below() -> None:
    """On a cool day idling alone ends below 90 degC, with less than 0.1 degC/min left."""
    vehicle = Vehicle(make_scenario("idle", start_c=10.0, ambient_c=10.0, minutes=240.0))
    late = after(vehicle, 220.0).temps.sump_c
    assert 80.0 < late < 90.0
    assert after(vehicle, 230.0).temps.sump_c - late < 1.0


def test_driving_is_faster_than_idling() -> None:
    """Driving from cold gains 2 to 2.5 degC/min over its first ten minutes, with a margin."""
    slopes = rates("drive", 10, start_c=20.0, ambient_c=20.0)
    assert 2.0 <= sum(slopes) / 10.0 <= 2.8


def test_coolant_runs_ahead_of_the_fluid() -> None:
    """The coolant is warm long before the fluid, and the thermostat holds it."""
    state = after(Vehicle(make_scenario("drive", start_c=20.0, ambient_c=20.0)), 12.0)
    assert state.temps.coolant_c > state.temps.sump_c + 30.0
    later = after(Vehicle(make_scenario("drive", start_c=20.0, ambient_c=20.0)), 40.0)
    plant = Plant()
    assert plant.thermostat_opens_c < later.temps.coolant_c < plant.thermostat_full_c


def test_fast_idle_settles() -> None:
    """The engine turns faster while the coolant is cold, and settles as it warms."""
    speeds = [demand(Way.IDLE, 0.0, coolant_c, 1).engine_rpm for coolant_c in range(-20, 110, 5)]
    assert speeds == sorted(speeds, reverse=True)
    assert 1000.0 < speeds[0] < 1300.0
    assert 650.0 < speeds[-1] < 800.0


def test_heater_cools_the_coolant() -> None:
    """With the cabin heater on both coolant and fluid stay behind."""
    plain = after(Vehicle(make_scenario("idle")), 30.0).temps
    heated = after(Vehicle(make_scenario("heater")), 30.0).temps
    assert heated.coolant_c < plain.coolant_c - 5.0
    assert heated.sump_c < plain.sump_c - 2.0


def test_holds_are_short_and_rested() -> None:
    """The loaded scenario never holds longer than 5 s nor rests less than 60 s."""
    vehicle = Vehicle(make_scenario("loaded", minutes=15.0))
    held, runs = [], []
    for step in range(int(15 * 60 / STEP_S)):
        vehicle.advance_to((step + 1) * STEP_S)
        held.append(vehicle.state.demand.engine_rpm > 1500.0)
    length, value = 0, held[0]
    for now in held:
        if now == value:
            length += 1
        else:
            runs.append((value, length * STEP_S))
            length, value = 1, now
    assert len(runs) > 20
    assert all(seconds <= HOLD_S for holding, seconds in runs if holding)
    assert all(seconds >= REST_S for holding, seconds in runs if not holding)


def test_hold_heats_the_converter_before_the_sensor() -> None:
    """100 N m at 2000 1/min make 104.7 kJ in 5 s, most of it still in the converter at the end.

    104.7 kJ = 100 * 2000 * pi/30 * 5 (computed; all of the power stays at stall, from memory).
    """
    start, temps = Temperatures(60.0, 60.0, 60.0, 60.0), Temperatures(60.0, 60.0, 60.0, 60.0)
    hold = Demand(2000.0, 100.0, 1.0, in_park=False)
    plant = Plant()
    for _ in range(10):
        temps, _, _ = plant.advance(temps, hold, 60.0, 0.5)
    gained_j = sum(
        mass.stored_j(a, b)
        for mass, a, b in zip(
            plant.masses[:COOLANT],
            start.as_tuple()[:COOLANT],
            temps.as_tuple()[:COOLANT],
            strict=True,
        )
    )
    assert gained_j == pytest.approx(100.0 * 2000.0 * math.pi / 30.0 * 5.0, rel=0.05)
    assert temps.converter_c - start.converter_c > 4.0 * (temps.sump_c - start.sump_c)


def test_default_scenario_passes_the_band() -> None:
    """The default enters 80:90 after 20 to 30 minutes, leaves it at the top, and ends soon."""
    plan = outline(make_scenario(), 7200.0)
    vehicle = Vehicle(make_scenario())
    seen = []
    for second in range(int(plan.seconds)):
        vehicle.advance_to(float(second))
        seen.append(math.floor(vehicle.state.fluid_c))
    entered, left = seen.index(80) / 60.0, seen.index(91) / 60.0
    assert 20.0 <= entered <= 30.0
    assert entered + 4.0 < left < plan.seconds / 60.0
    assert plan.seconds < 40 * 60


def test_speed_never_jumps() -> None:
    """Over the whole default scenario the vehicle speeds up and brakes as a vehicle can."""
    vehicle, speeds = Vehicle(make_scenario()), []
    while not vehicle.state.over:
        vehicle.advance_to(vehicle.state.elapsed_s + STEP_S)
        speeds.append(vehicle.state.demand.speed_kmh)
    assert max(speeds) > 30.0
    assert all(abs(b - a) <= 9.0 * STEP_S for a, b in pairwise(speeds))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("band_c", [(80.0, 90.0), (40.0, 50.0), (30.0, 45.0), (85.0, 95.0)])
def test_marks_fall_into_the_band(seed: int, band_c: tuple[float, float]) -> None:
    """The plug comes out and goes in while the fluid is in the band, the engine idling in park."""
    scenario = make_scenario(seed=seed, band_c=band_c)
    plan = outline(scenario, 14400.0)
    assert [mark.name for _, mark in plan.marks] == [
        MarkName.PLUG_OUT,
        MarkName.DRIP,
        MarkName.PLUG_IN,
    ]
    vehicle = Vehicle(scenario)
    for at_s, _ in plan.marks:
        vehicle.advance_to(at_s)
        assert band_c[0] <= vehicle.state.temps.sump_c <= band_c[1]
        assert vehicle.state.demand.in_park


@settings(deadline=None, max_examples=15)
@given(cuts=st.lists(st.floats(0.01, 40.0), min_size=1, max_size=40))
def test_how_time_is_cut_changes_nothing(cuts: list[float]) -> None:
    """The vehicle at a moment is the same however the way there was divided."""
    cut, whole = Vehicle(make_scenario(seed=5)), Vehicle(make_scenario(seed=5))
    elapsed_s = 0.0
    for seconds in cuts:
        elapsed_s += seconds
        cut.advance_to(elapsed_s)
    whole.advance_to(elapsed_s)
    assert cut.state == whole.state


def test_seeds_differ_and_repeat() -> None:
    """A seed gives the same run again, another seed another one."""
    first = after(Vehicle(make_scenario("drive", seed=1)), 5.0)
    again = after(Vehicle(make_scenario("drive", seed=1)), 5.0)
    other = after(Vehicle(make_scenario("drive", seed=2)), 5.0)
    assert first == again
    assert first.temps != other.temps


@pytest.mark.parametrize(
    ("method", "minutes"), [("boil", None), ("idle", 0.0), ("idle", -3.0), ("idle", 1e9)]
)
def test_wrong_scenarios(method: str, minutes: float | None) -> None:
    """An unknown method or an impossible length is a usage error that says what is known."""
    with pytest.raises(UsageError, match=r"demo"):
        make_scenario(method, minutes=minutes)


class FakeTime:
    """Real time for the clock under test; sleeping is all that makes it go by."""

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.slept: list[float] = []

    def now(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.now_s += seconds


def test_clock_keeps_its_pace() -> None:
    """A wait takes its length over the pace, less the work done since the wait before."""
    fake, vehicle = FakeTime(), Vehicle(make_scenario())
    clock = VehicleClock(vehicle, 10.0, 5000.0, now=fake.now, sleep=fake.sleep)
    clock.wait(1.0)
    fake.now_s += 0.04  # work
    clock.wait(1.0)
    assert fake.slept == pytest.approx([0.1, 0.06])
    assert clock.elapsed_s() == pytest.approx(2.0)
    assert clock.utc_s() == pytest.approx(5002.0)
    assert vehicle.state.elapsed_s == pytest.approx(2.0)


def test_slow_machine_slows_the_demo() -> None:
    """However long the work takes, simulated time moves by what was waited for and no more."""
    fake, vehicle = FakeTime(), Vehicle(make_scenario())
    clock = VehicleClock(vehicle, 100.0, 0.0, now=fake.now, sleep=fake.sleep)
    for _ in range(10):
        fake.now_s += 7.0
        clock.wait(1.0)
    assert clock.elapsed_s() == pytest.approx(10.0)
    assert len(fake.slept) <= 1
