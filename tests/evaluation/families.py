"""The invented vehicles themselves: heat, masses and exchange, one second at a time.

Four families, built apart from each other on purpose. THREE (rates seen from outside; thickness
falls off evenly), FIVE (a converter that makes the heat, Vogel's law of thickness, a cooler in
the radiator's tank, exhaust beside the pan, a sensor that lags) and NET (masses linked at random)
are for learning. FOUR (kilograms, watts and conductances; sensor in the sump, heat made elsewhere;
thickness as a power of temperature; thermostats on oil or coolant; an oil cooler with a bypass) is
only for scoring. FIVE and NET were made by somebody who knew FOUR, THREE was not. The figures are
plausible, without a source.
Times in seconds, temperatures in degC.
"""

import random
from collections.abc import Callable
from math import exp
from typing import Protocol

from warmwatch.core.phase import Phase

LAWS = ("first order, rising", "first order, falling")
"""Newton's law alone: taught beside the plants, never scored (the tests hold the closed form)."""


class Plant(Protocol):
    """What a run needs of a vehicle: the temperatures, and a second of time."""

    fluid: float
    coolant: float
    air: float

    def step(self, way: Phase, revs: float, speed: float, effort: float) -> None:
        """Pass one second at a way; `revs` is engine speed over warm idle, `speed` in km/h."""


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


class Five:
    """Converter, pan and housing in a stream of oil, the engine and the exhaust beside them."""

    def __init__(self, rng: random.Random, cool: bool) -> None:
        u = rng.uniform
        self.air = u(-10, 36)
        start = self.air + rng.choice([0.0, 0.0, u(3, 35)])
        self.converter = self.pan = self.housing = self.fluid = start
        self.coolant = start + rng.choice([0.0, 0.0, u(5, 45)])
        self.exhaust = start + 2.0
        self.converter_j, self.pan_j = _logu(rng, 3e3, 13e3), _logu(rng, 5e3, 17e3)
        self.housing_j, self.engine_j = _logu(rng, 9e3, 45e3), _logu(rng, 7e4, 2.2e5)
        self.pump_w, self.churn_w = (u(20, 80), u(20, 90)) if cool else (u(80, 600), u(80, 1000))
        self.stall_w, self.gear_w = _logu(rng, 2e3, 1.1e4), _logu(rng, 600, 2600)
        self.vogel, self.thick_part = u(500, 1100), u(0.15, 0.6)
        self.stream = _logu(rng, 60, 600)
        self.effect = rng.choice([0.0, u(0.05, 0.6), u(0.05, 0.6)]) * (0.2 if cool else 1.0)
        self.tank, self.opens = u(0.5, 0.95), rng.choice([-99.0, u(50, 85)])
        self.skin, self.wind = u(10, 35) if cool else u(3, 22), u(0.2, 2.0)
        self.bell = u(1, 5) if cool else u(2, 35)
        self.wall, self.beside = u(20, 180), u(0.0, 0.4 if cool else 1.2)
        self.engine_w, self.loss = u(3e3, 9e3), u(8, 35)
        self.thermostat, self.fan_c = u(78, 93), u(6, 14)
        self.fan, self.lag_s, self.share = False, u(2, 40), u(0.0, 0.5)

    def step(self, way: Phase, revs: float, speed: float, effort: float) -> None:
        running = way is not Phase.OFF
        thin = exp(self.vogel * (1 / (max(self.converter, -30) + 110) - 1 / 170)) ** self.thick_part
        loss = {Phase.LOADED: self.stall_w, Phase.DRIVING: self.gear_w}.get(way, 0.0)
        made = (self.pump_w * revs + self.churn_w * revs**2 * thin) * running + loss * effort
        if way is Phase.DRIVING:
            made = self.pump_w + self.churn_w * thin + loss * effort
        stream = self.stream * (min(revs, 2.5) ** 0.7 if running else 0.05)
        blow = 1 + self.wind * speed / 60 + (0.5 if self.fan else 0.0)
        tank = self.tank * self.coolant + (1 - self.tank) * self.air
        open_ = min(max((self.converter - self.opens) / 6 + 0.5, 0), 1)
        cooled = stream * self.effect * open_ * (self.converter - tank)
        back = stream * (self.converter - self.pan) - cooled
        wall = self.wall * (self.pan - self.housing)
        glow = self.beside * (self.exhaust - self.pan)
        bell = self.bell * (self.coolant - self.housing)
        self.converter += (made - stream * (self.converter - self.pan)) / self.converter_j
        self.pan += (back - wall + glow) / self.pan_j
        lost = self.skin * blow * (self.housing - self.air)
        self.housing += (wall + bell - lost) / self.housing_j
        hot = self.air + (60 + 130 * (revs if way is Phase.IDLE else 2.2)) * running
        self.exhaust += (hot - self.exhaust) / 250
        self._cool_engine(running, revs if way is Phase.IDLE else 2.2, blow, bell - cooled)
        seen = self.share * self.converter + (1 - self.share) * self.pan
        self.fluid += (seen - self.fluid) / self.lag_s

    def _cool_engine(self, running: bool, load: float, blow: float, given: float) -> None:
        over = self.coolant - self.thermostat
        self.fan = running and (over > self.fan_c or (self.fan and over > 2.0))
        valve = min(max(over / 6, 0), 1) * (0.6 if load < 1.5 and not self.fan else 2.5)
        gain = self.engine_w * load * running
        lost = self.loss * blow**0.5 * (self.coolant - self.air)
        self.coolant += (gain * (1 - min(valve, 1.0)) - lost * (1 + valve) - given) / self.engine_j


class Net:
    """Two to five masses in a row, linked at random to each other, to the coolant and to the air.

    Nothing is laid down but that heat is made in one mass and read in another, so that what is
    learned depends less on how the others are built.
    """

    def __init__(self, rng: random.Random, cool: bool) -> None:
        u, count = rng.uniform, rng.randint(2, 5)
        self.air = u(-10, 36)
        start = self.air + rng.choice([0.0, 0.0, u(3, 30)])
        self.masses, self.fluid = [start] * count, start
        self.coolant = start + rng.choice([0.0, 0.0, u(5, 45)])
        self.made_in, self.read_in = rng.randrange(count - 1), rng.randrange(max(count - 1, 1))
        oil, metal = _logu(rng, 8e3, 26e3), _logu(rng, 1e4, 5e4)
        shares = [u(0.2, 1.0) for _ in range(count - 1)]
        self.joules = [oil * share / sum(shares) for share in shares] + [metal]
        links = [_logu(rng, 40, 500) for _ in range(count - 2)] + [_logu(rng, 20, 250)]
        self.links = [min(link, 0.3 * min(self.joules)) for link in links]  # stable at 1 s
        self.still = u(0.05, 1.0)
        self.losses = [_logu(rng, 0.2, 4) for _ in shares] + [_logu(rng, 4, 40)]
        self.wind, self.block = u(0.2, 2.0), _logu(rng, 0.5, 40)
        self.exchanger = rng.choice([0.0, _logu(rng, 5, 250)]) * (0.2 if cool else 1.0)
        self.opens, self.soft = rng.choice([-99.0, u(45, 90)]), u(1, 8)
        self.cooler, self.bypass = rng.choice([0.0, 0.0, _logu(rng, 5, 80)]), u(50, 90)
        self.idle_w = _logu(rng, 30, 500) if cool else _logu(rng, 150, 2200)
        self.drive_w, self.held_w = _logu(rng, 700, 3500), _logu(rng, 2000, 1e4)
        self.thick, self.width, self.power = u(0.0, 1.8), u(12, 50), u(1.0, 3.0)
        self.engine_j, self.engine_w = _logu(rng, 7e4, 2.2e5), u(3e3, 9e3)
        self.engine_loss, self.thermostat = u(8, 35), u(78, 96)

    def step(self, way: Phase, revs: float, speed: float, effort: float) -> None:
        running = way is not Phase.OFF
        at, blow = self.masses, 1 + self.wind * speed / 60
        hot = at[self.made_in]
        watts = {Phase.LOADED: self.held_w, Phase.DRIVING: self.drive_w}.get(
            way, self.idle_w * revs**self.power
        )
        thick = 1 + self.thick * exp(-(max(hot, -20) - 20) / self.width)
        gains = [-loss * blow * (c - self.air) for loss, c in zip(self.losses, at, strict=True)]
        gains[self.made_in] += watts * effort * thick * running
        for i, link in enumerate(self.links):
            passed = link * (1.0 if running else self.still) * (at[i] - at[i + 1])
            gains[i], gains[i + 1] = gains[i] - passed, gains[i + 1] + passed
        valve = 1 / (1 + exp(min(max((self.opens - self.coolant) / self.soft, -30), 30)))
        swap = self.exchanger * valve * (self.coolant - hot) * (1.0 if running else 0.1)
        open_ = 1 / (1 + exp(min(max((self.bypass - hot) / self.soft, -30), 30)))
        gains[self.made_in] += swap - self.cooler * open_ * blow * (hot - self.air) * running
        block = self.block * (self.coolant - at[-1])
        gains[-1] += block
        self.masses = [c + gain / j for c, gain, j in zip(at, gains, self.joules, strict=True)]
        self.fluid = self.masses[self.read_in]
        load = (revs if way is Phase.IDLE else 2.1) * running
        radiator = 8 * self.engine_w * min(max((self.coolant - self.thermostat) / 5, 0), 1)
        lost = self.engine_loss * blow**0.5 * (self.coolant - self.air) + radiator * running
        self.coolant += (self.engine_w * load - lost - swap - block) / self.engine_j


class Law:
    """A fluid that follows Newton's law of cooling (or of heating) and nothing else."""

    def __init__(self, rng: random.Random, cool: bool) -> None:
        self.tau, self.coolant = _logu(rng, 500, 12000), 0.0
        self.air = rng.uniform(-5, 35)
        low, high = self.air + rng.uniform(0, 10), self.air + _logu(rng, 25, 200)
        self.fluid, self.end = (min(high, 110), low) if cool else (low, high)

    def step(self, way: Phase, revs: float, speed: float, effort: float) -> None:
        self.fluid += (self.end - self.fluid) / self.tau


FAMILIES: dict[str, Callable[[random.Random, bool], Plant]] = {
    "three": Three, "four": Four, "five": Five, "net": Net,
}  # fmt: skip
LEARNED_ON = ("three", "five", "net")


def plant_of(family: str, kind: str, rng: random.Random) -> Plant:
    """Return a vehicle; one that is to cool at idle makes little heat there."""
    cool = kind in ("cooling at idle", LAWS[1])
    return Law(rng, cool) if kind in LAWS else FAMILIES[family](rng, cool)
