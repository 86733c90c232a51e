"""Two invented families of transmissions that do what the job asks for, seen through a sensor.

Everything here is invented. The two families are built apart from each other on purpose: what is
learned on THREE (rates seen from outside; a law of thickness that falls off evenly) is scored on
FOUR (kilograms, watts and conductances; sensor in the sump, heat made elsewhere; thickness as a
power of temperature; thermostats on oil or coolant; an oil cooler with a bypass). The figures are
plausible, without a source. Times in seconds, temperatures in degC.
"""

import random
from dataclasses import dataclass, field
from math import exp, floor

from tests.evaluation.curves import Curve, Row
from warmwatch.core.phase import Phase

KINDS = ("parked", "idle", "loaded holds", "steady load", "engine off", "cooling at idle", "drive")
LAWS = ("first order, rising", "first order, falling")
"""Newton's law alone: taught beside the plants, never scored (the tests hold the closed form)."""
FAMILIES = ("three", "four")


@dataclass
class Script:
    """What the vehicle does each second: its way, engine speed over warm idle, km/h, heat."""

    ways: list[Phase] = field(default_factory=list)
    revs: list[float] = field(default_factory=list)
    speed: list[float] = field(default_factory=list)
    effort: list[float] = field(default_factory=list)

    def add(self, way: Phase, seconds: int, revs: float, speed: float, effort: float) -> None:
        self.ways += [way] * seconds
        self.revs += [revs] * seconds
        self.speed += [speed] * seconds
        self.effort += [effort] * seconds

    def __len__(self) -> int:
        return len(self.ways)


def _trip(script: Script, rng: random.Random, seconds: int) -> None:
    """Add a road test: stretches of driving with stops, uneven from one to the next."""
    end = len(script) + seconds
    pace, go_s, stop_s = rng.uniform(25, 90), rng.uniform(15, 90), rng.uniform(3, 25)
    while len(script) < end:
        speed = pace * exp(rng.gauss(0, 0.3))
        effort = (0.5 + 0.5 * speed / pace) * exp(rng.gauss(0, 0.4))
        go = min(max(int(rng.expovariate(1 / go_s)), 5), end - len(script))
        script.add(Phase.DRIVING, go, rng.uniform(1.6, 3.0), speed, effort)
        stop = min(max(int(rng.expovariate(1 / stop_s)), 2), end - len(script))
        script.add(Phase.IDLE, stop, 1.0, 0.0, 1.0)


def _script(rng: random.Random, kind: str) -> tuple[Script, int]:
    """Return what is done, and the second at which the way to judge begins."""
    script = Script()
    if kind in LAWS:
        way = rng.choice(
            [Phase.IDLE, Phase.UNKNOWN, Phase.OFF if kind.endswith("falling") else Phase.LOADED]
        )
        script.add(way, 5400, float(way is not Phase.OFF), 0.0, 1.0)
        return script, 0
    if kind == "drive":
        script.add(Phase.IDLE, rng.randint(5, 120), 1.1, 0.0, 1.0)
        begins = len(script)
        _trip(script, rng, rng.randint(1500, 3600))
        return script, begins
    if kind in ("parked", "engine off", "cooling at idle"):
        script.add(Phase.IDLE, rng.randint(10, 120), 1.1, 0.0, 1.0)
        _trip(script, rng, rng.randint(420, 960) if kind == "parked" else rng.randint(900, 3000))
        begins = len(script)
        way = Phase.OFF if kind == "engine off" else Phase.IDLE
        script.add(way, 7200, 0.0 if way is Phase.OFF else 1.0, 0.0, float(way is Phase.IDLE))
        return script, begins
    first = 0
    if kind == "idle":
        script.add(Phase.IDLE, 7200, 1.0, 0.0, 1.0)
    elif kind == "steady load":
        script.add(Phase.IDLE, rng.randint(60, 420), 1.0, 0.0, 1.0)
        first = len(script)
        script.add(Phase.LOADED, 5400, rng.uniform(2.1, 2.6), 0.0, rng.uniform(0.25, 0.6))
    else:
        script.add(Phase.IDLE, rng.randint(60, 420), 1.0, 0.0, 1.0)
        hold, rest = rng.randint(5, 60), rng.randint(60, 180)
        while len(script) < 5400:
            script.add(Phase.LOADED, int(hold * rng.uniform(0.8, 1.2)), 2.3, 0.0, 1.0)
            first = first or len(script)
            script.add(Phase.IDLE, int(rest * rng.uniform(0.8, 1.2)), 1.0, 0.0, 1.0)
    extra, settle = rng.uniform(0, 0.8), rng.uniform(40, 300)
    for i, way in enumerate(script.ways):
        if way is Phase.IDLE:
            script.revs[i] = 1.0 + extra * exp(-i / settle)
    return script, first


def _logu(rng: random.Random, low: float, high: float) -> float:
    return float(low * (high / low) ** rng.random())


class Three:
    """Fluid, case and coolant, by rates."""

    def __init__(self, rng: random.Random, cool: bool) -> None:
        self.air = rng.uniform(-8, 34)
        self.fluid = self.air + rng.choice([0.0, 0.0, rng.uniform(0, 30)])
        self.case = self.fluid - rng.uniform(0, 3)
        self.coolant = self.fluid + rng.choice([0.0, rng.uniform(0, 40)])
        self.base = _logu(rng, *((0.06, 0.35) if cool else (0.8, 5.0))) / 60
        self.held, self.drive = _logu(rng, 2, 12), _logu(rng, *((6, 16) if cool else (1.2, 3.5)))
        self.thick, self.width = rng.uniform(0, 1.8), rng.uniform(15, 45)
        self.power = rng.uniform(1.0, 2.6)
        self.to_case, self.ratio = _logu(rng, 40, 900), _logu(rng, 0.4, 4)
        self.case_air = _logu(rng, *((800, 4000) if cool else (1200, 9000)))
        self.to_coolant = 1e9 if cool else rng.choice([1e9, _logu(rng, 500, 6000)])
        self.block = rng.choice([1e9, 1e9 if cool else _logu(rng, 1500, 12000)])
        self.engine, self.engine_air = _logu(rng, 1.5, 7) / 60, _logu(rng, 2400, 12000)
        self.opens, self.wind = rng.uniform(78, 97), rng.uniform(0.2, 2.5)

    def step(self, way: Phase, revs: float, speed: float, effort: float) -> None:
        running = way is not Phase.OFF
        share = {Phase.LOADED: self.held, Phase.DRIVING: self.drive}.get(way, revs**self.power)
        made = self.base * share * effort * running
        made *= 1 + self.thick * exp(-(max(self.fluid, -20) - 20) / self.width)
        blow = 1 + self.wind * speed / 60
        swap = (self.coolant - self.fluid) / self.to_coolant * (1 if running else 0.2)
        valve = min(max((self.opens + 2 - self.coolant) / 4, 0), 1)
        load = revs if way is Phase.IDLE else 1.2 * revs
        to_case = (self.case - self.fluid) / self.to_case
        self.coolant += (self.engine * load * valve * running
                         - (self.coolant - self.air) / self.engine_air * blow**0.5)  # fmt: skip
        self.case += (-to_case / self.ratio - (self.case - self.air) / self.case_air * blow
                      + (self.coolant - self.case) / self.block)  # fmt: skip
        self.fluid += made + swap + to_case


class Four:
    """Sump, working fluid, case and engine, by kilograms, watts and W/K."""

    def __init__(self, rng: random.Random, cool: bool) -> None:
        u = rng.uniform
        self.air = u(-5, 33)
        start = self.air + (u(2, 22) if rng.random() < 0.35 else 0.0)
        self.fluid = self.work = self.case = start
        self.coolant = start if rng.random() < 0.7 else start + u(5, 40)
        self.sump_j, self.work_j = u(2.5, 6) * 2100, u(1.5, 5) * 2100
        self.case_j, self.engine_j = u(12, 42) * 900, u(70e3, 190e3)
        self.idle_w = u(40, 200) if cool else u(350, 2100)
        self.held_w, self.drive_w = u(2500, 9000), u(900, 2200) if not cool else u(1200, 3500)
        self.exponent, self.rev_power = u(0.3, 0.9), u(1.5, 3)
        self.flow_w, self.work_case = u(120, 700), u(25, 220)
        self.sump_case, self.sump_air = u(10, 90), u(1, 8)
        self.case_air = u(12, 40) if cool else u(4, 20)
        self.case_engine = u(0, 4) if cool else u(2, 40)
        self.exchanger = 0.0 if cool else rng.choice([0.0, u(20, 220), u(20, 220)])
        self.opens = rng.choice([-99.0, u(45, 80)])
        self.cooler = rng.choice([0.0, 0.0, u(10, 80)])
        self.bypass = u(60, 85)
        self.engine_w, self.engine_air = u(3500, 9000), u(10, 35)
        self.thermostat, self.gust = u(80, 95), u(0.3, 1.6)

    def step(self, way: Phase, revs: float, speed: float, effort: float) -> None:
        running = way is not Phase.OFF
        cold = ((max(self.work, -25.0) + 45.0) / 125.0) ** -self.exponent
        watts = {Phase.LOADED: self.held_w, Phase.DRIVING: self.drive_w}.get(
            way, self.idle_w * revs**self.rev_power
        )
        made = watts * effort * cold * running
        flow = self.flow_w * (1.0 if running else 0.08)
        pumped = flow * (self.work - self.fluid)
        valve = 1 / (1 + exp(-(self.coolant - self.opens) / 2.5))
        swap = self.exchanger * valve * (self.coolant - self.work) * (1 if running else 0.05)
        blow = 1 + self.gust * speed / 50
        open_ = min(max((self.work - self.bypass) / 8, 0), 1)
        lost = self.cooler * open_ * blow * (self.work - self.air) * running
        to_case = self.work_case * (self.work - self.case)
        below = self.sump_case * (self.fluid - self.case)
        block = self.case_engine * (self.coolant - self.case)
        radiator = 8 * self.engine_w * min(max((self.coolant - self.thermostat) / 5, 0), 1)
        heat = self.engine_w * (revs if way is Phase.IDLE else 2.0) * running
        self.work += (made + swap - pumped - lost - to_case) / self.work_j
        self.fluid += (
            pumped - below - self.sump_air * blow * (self.fluid - self.air)
        ) / self.sump_j
        self.case += (to_case + below + block
                      - self.case_air * blow * (self.case - self.air)) / self.case_j  # fmt: skip
        lost_here = self.engine_air * blow * (self.coolant - self.air) + radiator * running
        self.coolant += (heat - swap - block - lost_here) / self.engine_j


class Law:
    """A fluid that follows Newton's law of cooling (or of heating) and nothing else."""

    def __init__(self, rng: random.Random, cool: bool) -> None:
        self.tau, self.coolant = _logu(rng, 500, 12000), 0.0
        self.air = rng.uniform(-5, 35)
        low, high = self.air + rng.uniform(0, 10), self.air + _logu(rng, 25, 200)
        self.fluid, self.end = (min(high, 110), low) if cool else (low, high)

    def step(self, way: Phase, revs: float, speed: float, effort: float) -> None:
        self.fluid += (self.end - self.fluid) / self.tau


def one(seed: int, kind: str, family: str, *, plain: bool = False) -> Curve:
    """Return one run; `plain` is a sensor of whole degrees beside which all values are read."""
    rng = random.Random(f"{family} {kind} {seed}")
    cool = kind in ("cooling at idle", LAWS[1])
    plant: Three | Four | Law = (Law if kind in LAWS else Three if family == "three" else Four)(
        rng, cool
    )
    script, begins = _script(rng, kind)
    shown = range(max(begins - rng.randint(30, 120), 0) if _late(rng, kind) else 0, len(script))
    step, noise = (
        (1.0, 0.03)
        if plain
        else rng.choice([(1.0, 0.03), (1.0, 0.03), (0.5, 0.02), (1 / 32, 0.05)])
    )
    seen = (
        (1.0, 1.0, 1.0) if plain else (rng.random() < 0.85, rng.random() < 0.7, rng.random() < 0.4)
    )
    idle_rpm, rows, heat = rng.uniform(620, 820), [], 0.0
    for second, way in enumerate(script.ways):
        if second >= begins + 1 and plant.fluid > 125:
            break
        heat += 0.05 * (rng.gauss(0, 1) - heat)  # traffic and fans: a slow unevenness
        uneven = exp(0.25 * heat) if way is Phase.DRIVING else exp(0.05 * heat)
        plant.step(way, script.revs[second], script.speed[second], script.effort[second] * uneven)
        if second not in shown:
            continue
        values = {}
        if seen[0]:
            values = {
                "engine_rpm": idle_rpm * script.revs[second],
                "speed_kmh": script.speed[second],
            }
        if seen[1] and kind not in LAWS:
            values["coolant_c"] = float(floor(plant.coolant))
        if seen[2]:
            values["ambient_c"] = float(floor(plant.air))
        value = floor((plant.fluid + rng.gauss(0, noise)) / step) * step
        rows.append(Row(float(second), value, way if seen[0] else Phase.UNKNOWN, values))
    return Curve(f"{family} {kind} {seed}", f"{kind}, {family}", rows, float(begins))


def _late(rng: random.Random, kind: str) -> bool:
    """Whether the watch was started only when the vehicle stood already."""
    return kind in ("engine off", "cooling at idle") and rng.random() < 0.5


_MOST_C, _LEAST_FALL_C = 112.0, 8.0


def many(kind: str, family: str, runs: int, first: int = 0, *, plain: bool = False) -> list[Curve]:
    """Return `runs` usable runs: none boils at the start, and those that are to cool do cool."""
    found: list[Curve] = []
    seed = first
    while len(found) < runs:
        curve = one(seed, kind, family, plain=plain)
        if _usable(curve, kind):
            found.append(curve)
        seed += 1
    return found


def _usable(curve: Curve, kind: str) -> bool:
    after = [row.fluid_c for row in curve.rows if row.elapsed_s >= curve.from_s]
    if len(after) < 300 or after[0] > _MOST_C:
        return False
    cools = kind.startswith(("engine off", "cooling", LAWS[1]))
    return not cools or after[0] - min(after[:3600]) >= _LEAST_FALL_C
