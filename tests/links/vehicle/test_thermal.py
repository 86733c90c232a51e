"""The thermal model against textbook answers, its own energy balance, and a second solver."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
import scipy  # loads its parts when they are used
from hypothesis import given, settings
from hypothesis import strategies as st

from warmwatch.demo.plant import fluid_mass
from warmwatch.demo.thermal import AMBIENT, Mass, Network, loss_w
from warmwatch.demo.thermal import Path as Flow

SHARED = Path(__file__).parents[3] / "shared"


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table in shared/ (its README names the sources)."""
    with (SHARED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def one_mass(tau_s: float) -> Network:
    """Return a body that loses its heat to the surroundings with a time constant."""
    return Network((Mass("body", 1000.0),), (Flow(0, AMBIENT, 1000.0 / tau_s),))


def cooled(network: Network, start_c: float, ambient_c: float, seconds: float) -> float:
    (end_c,), _ = network.advance((start_c,), (0.0,), ambient_c, seconds)
    return end_c


def time_to(tau_s: float, start_c: float, ambient_c: float, goal_c: float) -> float:
    """Step until the body passes a temperature; return the time, interpolated in the last step."""
    network, step_s = one_mass(tau_s), tau_s / 1000.0
    elapsed_s, before_c = 0.0, start_c
    while True:
        after_c = cooled(network, before_c, ambient_c, step_s)
        if (after_c - goal_c) * (start_c - goal_c) <= 0.0:
            return elapsed_s + step_s * (goal_c - before_c) / (after_c - before_c)
        elapsed_s, before_c = elapsed_s + step_s, after_c


@pytest.mark.parametrize(
    ("constants", "published"),
    [
        (int(row["variant"].removeprefix("n=")), float(row["published_or_exact"]))
        for row in rows("first_order_cases.csv")
        if row["case"] == "fraction after n time constants"
    ],
)
def test_first_order_fractions(constants: int, published: float) -> None:
    """A single mass covers the textbook fraction of a step after n time constants."""
    assert cooled(one_mass(60.0), 0.0, 1.0, 60.0 * constants) == pytest.approx(published, abs=1e-8)


# The numbers of these cases stand as text in shared/first_order_cases.csv, with their sources; the
# time constants are b = h / (rho c Lc) with Lc = D/6 of a sphere.
SPHERE_TAU_S = 8500.0 * 320.0 * (0.001 / 6.0) / 210.0


@pytest.mark.parametrize(
    ("tau_s", "start_c", "ambient_c", "goal_c", "published_s", "digits_s"),
    [
        (SPHERE_TAU_S, 0.0, 1.0, 0.99, 9.94, 0.005),
        (1.0, 25.0, 200.0, 199.0, 5.16, 0.005),
    ],
    ids=["sphere junction to 99 %", "junction with a time constant of 1 s"],
)
def test_textbook_times(
    tau_s: float,
    start_c: float,
    ambient_c: float,
    goal_c: float,
    published_s: float,
    digits_s: float,
) -> None:
    """The time to a temperature agrees with two textbook examples to the printed digit."""
    assert time_to(tau_s, start_c, ambient_c, goal_c) == pytest.approx(published_s, abs=digits_s)


def test_cooling_coffee() -> None:
    """Newton's cooling of a cup, its constant taken from one reading, gives the published time.

    200 degF in 67 degF, 195 degF after 10 min, asked for 180 degF: 42.528 min (a temperature
    difference scale does not matter to a linear network, so degF are used as they stand).
    """
    tau_min = 10.0 / math.log(133.0 / 128.0)
    assert time_to(tau_min, 200.0, 67.0, 180.0) == pytest.approx(42.528, abs=0.0005)


def test_body_after_twice_the_time() -> None:
    """A body of 120 degF in 0 degF that has 53 degF after 10 min has 23.4 degF after 20 min."""
    tau_min = 10.0 / math.log(120.0 / 53.0)
    assert cooled(one_mass(tau_min), 120.0, 0.0, 20.0) == pytest.approx(23.4, abs=0.05)


temperatures = st.floats(-20.0, 120.0)
watts = st.floats(0.0, 30_000.0)


@settings(deadline=None, max_examples=60)
@given(
    temps=st.tuples(temperatures, temperatures, temperatures),
    heat=st.tuples(watts, watts, watts),
    ambient_c=st.floats(-20.0, 40.0),
    conductances=st.tuples(*[st.floats(0.0, 300.0)] * 4),
)
def test_energy_balance(
    temps: tuple[float, float, float],
    heat: tuple[float, float, float],
    ambient_c: float,
    conductances: tuple[float, float, float, float],
) -> None:
    """Heat made equals heat stored plus heat lost, whatever the network."""
    masses = (fluid_mass("fluid", 3.0), Mass("steel", 9000.0), Mass("engine", 60000.0))
    a, b, c, d = conductances
    paths = (Flow(0, 1, a), Flow(1, 2, b), Flow(1, AMBIENT, c), Flow(2, AMBIENT, d))
    after, lost_j = Network(masses, paths).advance(temps, heat, ambient_c, 60.0, 0.5)
    stored_j = sum(mass.stored_j(t0, t1) for mass, t0, t1 in zip(masses, temps, after, strict=True))
    made_j = sum(heat) * 60.0
    assert stored_j + lost_j == pytest.approx(made_j, abs=0.5 + 1e-6 * made_j)


def test_against_scipy() -> None:
    """Three coupled masses agree with scipy's solver."""
    masses = (Mass("a", 6000.0), Mass("b", 20000.0), Mass("c", 50000.0))
    paths = (Flow(0, 1, 120.0), Flow(1, 2, 30.0), Flow(1, AMBIENT, 9.0), Flow(2, AMBIENT, 40.0))
    heat, start, ambient_c = (900.0, 0.0, 3000.0), (40.0, 20.0, 70.0), 15.0

    def rates(_: float, t: np.ndarray) -> list[float]:
        ab, bc = 120.0 * (t[0] - t[1]), 30.0 * (t[1] - t[2])
        return [
            (heat[0] - ab) / 6000.0,
            (ab - bc - 9.0 * (t[1] - ambient_c)) / 20000.0,
            (heat[2] + bc - 40.0 * (t[2] - ambient_c)) / 50000.0,
        ]

    judge = scipy.integrate.solve_ivp(rates, (0.0, 900.0), start, rtol=1e-10, atol=1e-10).y[:, -1]
    ours, _ = Network(masses, paths).advance(start, heat, ambient_c, 900.0)
    assert ours == pytest.approx(tuple(judge), abs=1e-6)


@pytest.mark.parametrize("density", [0.84, 0.85, 0.86, 0.87])
def test_specific_heat(density: float) -> None:
    """The fluid's heat capacity agrees with the published formula's table to its last digit."""
    table = [
        row
        for row in rows("specific_heat.csv")
        if row["what"].startswith("formula") and float(row["relative_density"]) == density
    ]
    assert len(table) == 5
    for row in table:
        ours = fluid_mass("fluid", 1.0, density).capacity_j_k(float(row["temp_C"])) / 1000.0
        assert ours == pytest.approx(float(row["c_kJ_per_kgK"]), abs=0.0011)


def test_oil_table() -> None:
    """The formula stays within 3.5 % of a table of engine oil at 20, 60 and 100 degC."""
    table = [row for row in rows("specific_heat.csv") if row["what"].startswith("engine oil")]
    assert len(table) == 3
    for row in table:
        ours = fluid_mass("oil", 1.0, 0.87).capacity_j_k(float(row["temp_C"])) / 1000.0
        assert ours == pytest.approx(float(row["c_kJ_per_kgK"]), rel=0.035)


def test_stall_power() -> None:
    """100 N m at 2000 1/min is 20.94 kW (computed: torque x 2000 * pi / 30)."""
    assert loss_w(100.0, 2000.0) == pytest.approx(20_940.0, abs=5.0)
    assert loss_w(100.0, 2000.0) * 5.0 == pytest.approx(105_000.0, rel=0.003)


def test_stall_heats_an_insulated_fluid() -> None:
    """105 kJ into 7.5 kg of fluid at 80 degC raise it by Q/(m c), c from the published table."""
    row = next(
        row
        for row in rows("specific_heat.csv")
        if row["relative_density"] == "0.86" and row["temp_C"] == "80"
    )
    rise_k = 104_720.0 / (7.5 * 1000.0 * float(row["c_kJ_per_kgK"]))
    alone = Network((fluid_mass("fluid", 7.5),), ())
    (after_c,), lost_j = alone.advance((80.0,), (loss_w(100.0, 2000.0),), 20.0, 5.0)
    assert after_c - 80.0 == pytest.approx(rise_k, rel=0.01)
    assert lost_j == 0.0
