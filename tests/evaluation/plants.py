"""Runs of invented vehicles that do what the job asks for, seen through a sensor.

Everything here is invented (`families.py`). Times in seconds, temperatures in degC.
"""

import random
from dataclasses import dataclass, field
from math import exp, floor

from tests.evaluation.curves import Curve, Row
from tests.evaluation.families import LAWS, plant_of
from warmwatch.core.phase import Phase, PhaseTracker

COOLING_S = 14400
"""Asked for an hour, a cooling goes on for the three that its chance speaks of."""
KINDS = ("parked", "idle", "loaded holds", "steady load", "engine off", "cooling at idle", "drive")


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
        way, on = (Phase.OFF, 0.0) if kind == "engine off" else (Phase.IDLE, 1.0)
        script.add(way, 7200 if kind == "parked" else COOLING_S, on, 0.0, on)
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


def one(seed: int, kind: str, family: str, *, plain: bool = False) -> Curve:
    """Return one run; `plain` is a sensor of whole degrees beside which all values are read."""
    rng = random.Random(f"{family} {kind} {seed}")
    plant = plant_of(family, kind, rng)
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
    phases = PhaseTracker()
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
            pulls_away = way is Phase.DRIVING and script.ways[max(second - 1, 0)] is not way
            values = {
                "engine_rpm": idle_rpm * script.revs[second],
                "speed_kmh": 2.0 if pulls_away else script.speed[second],
            }
        phase = phases.step(float(second), values)
        if seen[1] and kind not in LAWS:
            values["coolant_c"] = float(floor(plant.coolant))
        if seen[2]:
            values["ambient_c"] = float(floor(plant.air))
        value = floor((plant.fluid + rng.gauss(0, noise)) / step) * step
        rows.append(Row(float(second), value, phase, values))
    return Curve(f"{family} {kind} {seed}", f"{kind}, {family}", rows, float(begins))


def _late(rng: random.Random, kind: str) -> bool:
    """Whether the watch was started only when the vehicle stood already."""
    return kind in ("engine off", "cooling at idle") and rng.random() < 0.5


_MOST_C, _LEAST_FALL_C = 112.0, {"engine off": 8.0, "cooling at idle": 15.0, LAWS[1]: 8.0}


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
    return after[0] - min(after[:3600]) >= _LEAST_FALL_C.get(kind, -1e9)
