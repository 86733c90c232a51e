"""Stationary warm-ups for scoring, in physical units and apart from the runs used for learning.

Invented data. Three masses (fluid, case, coolant) with ranges from plausible hardware: 4-12 kg of
fluid at 2.1 kJ/kgK, 15-45 kg of aluminium case, 0.3-2.2 kW lost in the converter at warm idle,
1-6 kW in a loaded hold. A 1 degC sensor cuts to whole degrees; seeds are fixed.
"""

import random
from dataclasses import dataclass
from math import exp, floor

from tests.evaluation.curves import Curve, Row
from warmwatch.core.phase import Phase

KINDS = ("idle", "loaded holds", "steady load")
_LENGTH_S = 7200


@dataclass
class _Plant:
    """Heat capacities in J/K, conductances in W/K, powers in W, temperatures in degC."""

    fluid_j: float
    case_j: float
    coolant_j: float
    idle_w: float
    hold_w: float
    thick: float
    fluid_case: float
    case_air: float
    exchanger: float
    opens_c: float
    block_case: float
    engine_w: float
    engine_air: float
    thermostat_c: float
    air_c: float
    fluid: float = 0.0
    case: float = 0.0
    coolant: float = 0.0

    def step(self, speed_ratio: float, held: bool, dt: float) -> None:
        """Move on by `dt` seconds."""
        power = self.hold_w if held else self.idle_w * speed_ratio**2
        power *= 1 + self.thick * exp(-max(self.fluid, -20.0) / 25.0)
        valve = 1 / (1 + exp(-(self.coolant - self.opens_c) / 2.5))
        swap = self.exchanger * valve * (self.coolant - self.fluid)
        to_case = self.fluid_case * (self.fluid - self.case)
        block = self.block_case * (self.coolant - self.case)
        radiator = 8.0 * self.engine_w * min(max((self.coolant - self.thermostat_c) / 5, 0), 1)
        engine = self.engine_w * (2.0 if held else speed_ratio)
        loss = self.engine_air * (self.coolant - self.air_c)
        self.fluid += dt * (power + swap - to_case) / self.fluid_j
        self.case += dt * (to_case + block - self.case_air * (self.case - self.air_c)) / self.case_j
        self.coolant += dt * (engine - swap - block - radiator - loss) / self.coolant_j


def _plant(rng: random.Random) -> _Plant:
    air = rng.uniform(-10, 35)
    start = air + (rng.uniform(0, 20) if rng.random() < 0.3 else 0.0)
    return _Plant(
        fluid_j=rng.uniform(4, 12) * 2100,
        case_j=rng.uniform(15, 45) * 900,
        coolant_j=rng.uniform(60e3, 160e3),
        idle_w=rng.uniform(300, 2200),
        hold_w=rng.uniform(1000, 6000),
        thick=rng.uniform(0, 1.5),
        fluid_case=rng.uniform(40, 600),
        case_air=rng.uniform(5, 35),
        exchanger=rng.choice([0.0, rng.uniform(15, 250)]),
        opens_c=rng.choice([-100.0, rng.uniform(40, 80)]),
        block_case=rng.uniform(0, 30),
        engine_w=rng.uniform(3000, 9000),
        engine_air=rng.uniform(8, 35),
        thermostat_c=rng.uniform(80, 96),
        air_c=air,
        fluid=start,
        case=start,
        coolant=start,
    )


def _held(rng: random.Random, kind: str) -> list[tuple[int, int]]:
    """Return the loaded stretches as (start, end) in seconds."""
    if kind == "idle":
        return []
    found, now = [], rng.randint(60, 420)
    if kind == "steady load":
        return [(now, _LENGTH_S)]
    while now < _LENGTH_S:
        long = rng.randint(15, 90)
        found.append((now, now + long))
        now += long + rng.randint(30, 180)
    return found


def one(seed: int, kind: str) -> Curve:
    """Return one simulated warm-up of `kind`."""
    rng = random.Random(f"{kind} {seed}")
    plant = _plant(rng)
    if kind == "steady load":
        plant.hold_w = rng.uniform(1.2, 3.0) * plant.idle_w
    holds = _held(rng, kind)
    idle, extra, settle = rng.uniform(620, 800), rng.uniform(0, 0.8), rng.uniform(40, 300)
    hold_rpm = rng.uniform(1550, 2000)
    bare = rng.random() < 0.5  # half of them show the fluid temperature and nothing else
    rows = []
    for second in range(_LENGTH_S):
        held = any(a <= second < b for a, b in holds)
        ratio = 1 + extra * exp(-second / settle)
        plant.step(ratio, held, 1.0)
        shown = float(floor(plant.fluid + rng.gauss(0, 0.03)))
        if bare:
            rows.append(Row(float(second), shown, Phase.UNKNOWN, {}))
            continue
        values = {"engine_rpm": hold_rpm if held else idle * ratio, "speed_kmh": 0.0}
        if seed % 3:
            values["coolant_c"] = float(floor(plant.coolant))
        rows.append(Row(float(second), shown, Phase.LOADED if held else Phase.IDLE, values))
    # What is asked before the load comes, nobody can know; of holds one must have been seen.
    from_s = 0.0 if kind == "idle" else holds[0][1 if kind == "loaded holds" else 0]
    return Curve(f"{kind} {seed}", f"stationary (simulated), {kind}", rows, from_s)


def stationary(runs: int) -> list[Curve]:
    """Return `runs` simulated warm-ups of each kind."""
    return [one(seed, kind) for kind in KINDS for seed in range(runs)]
