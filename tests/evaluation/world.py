"""Made-up warm-ups: coupled masses with widely random parameters, seen through a coarse sensor.

Everything here is invented, none of it is fitted to a vehicle. The fluid exchanges heat with its
case, the coolant, a cooler and the air; what is put in depends on engine speed, load and thickness
of the fluid. `style` picks what the vehicle does. Times in seconds, temperatures in degC.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from warmwatch.core.phase import Phase

Floats = npt.NDArray[np.float64]
STEP_S = 2.0
OFF, IDLE, LOADED, DRIVING = range(4)
PHASES = (Phase.OFF, Phase.IDLE, Phase.LOADED, Phase.DRIVING)
_NEVER_S = 1e9
STYLES = ("idle", "holds", "drive", "mixed", "heater")


@dataclass(frozen=True, slots=True)
class World:
    """`n` simulated runs: arrays of shape (n, steps), one column every STEP_S."""

    style: str
    fluid: Floats
    coolant: Floats
    phase: npt.NDArray[np.int8]
    rpm: Floats
    speed: Floats
    ambient: Floats

    @property
    def seconds(self) -> float:
        """How long every run lasts."""
        return float(self.fluid.shape[1]) * STEP_S


def logu(rng: np.random.Generator, low: float, high: float, n: int) -> Floats:
    """Return `n` draws, uniform in the logarithm."""
    return np.exp(rng.uniform(np.log(low), np.log(high), n))


def simulate(seed: int, n: int, style: str, seconds: float = 10800.0) -> World:
    """Return `n` runs of `style` that last `seconds`."""
    rng = np.random.default_rng((seed, STYLES.index(style)))
    steps = int(seconds / STEP_S)
    power, phase, rpm, speed = _activity(rng, n, steps, style)
    if style == "heater":
        return _heater(rng, n, steps, power, phase, rpm, speed)
    return _vehicle(rng, n, steps, style, power, phase, rpm, speed)


def _activity(
    rng: np.random.Generator, n: int, steps: int, style: str
) -> tuple[Floats, npt.NDArray[np.int8], Floats, Floats]:
    """Return heating power as a multiple of warm idle, phase, rpm and speed, each (n, steps)."""
    power = np.ones((n, steps), dtype=np.float64)
    phase = np.full((n, steps), IDLE, dtype=np.int8)
    speed = np.zeros((n, steps))
    idle_rpm = rng.uniform(600, 850, n)
    t = np.arange(steps) * STEP_S
    extra = rng.uniform(0, 0.9, n) * (rng.random(n) < 0.8)
    settle = logu(rng, 20, 400, n)
    shape = rng.random(n) < 0.5
    fast = np.where(
        shape[:, None],
        np.exp(-t[None, :] / settle[:, None]),
        np.clip(1 - t[None, :] / (2 * settle[:, None]), 0, 1),
    )
    rpm = idle_rpm[:, None] * (1 + extra[:, None] * fast)
    power *= (rpm / idle_rpm[:, None]) ** rng.uniform(0.7, 3, n)[:, None]
    for i in range(n):
        _segments(rng, style, power[i], phase[i], rpm[i], speed[i])
    uneven = style in ("drive", "mixed")
    phase = np.select(
        [speed > 3.0, rpm < 300.0, rpm < 1500.0], [DRIVING, OFF, IDLE], LOADED
    ).astype(np.int8)
    if uneven:  # road and traffic change within a minute; a whole trip changes little
        power *= np.exp(_wander(rng, n, steps, rng.uniform(0.1, 0.7, n), logu(rng, 4, 30, n)))
        power *= np.exp(_wander(rng, n, steps, rng.uniform(0, 0.15, n), logu(rng, 100, 2000, n)))
    else:
        wobble = rng.uniform(0.0, 0.04, n) * (rng.random(n) < 0.5)
        power *= np.exp(_wander(rng, n, steps, wobble, logu(rng, 10, 500, n)))
    return power, phase, rpm, speed


def _wander(rng: np.random.Generator, n: int, steps: int, size: Floats, tau: Floats) -> Floats:
    """Return a slowly wandering value of standard deviation `size` and memory `tau`."""
    keep = np.exp(-STEP_S / tau)
    out = np.empty((n, steps))
    x = rng.normal(size=n)
    noise = rng.normal(size=(steps, n))
    for k in range(steps):
        x = keep * x + np.sqrt(1 - keep**2) * noise[k]
        out[:, k] = x
    return out * size[:, None]


def _segments(
    rng: np.random.Generator,
    style: str,
    power: Floats,
    phase: npt.NDArray[np.int8],
    rpm: Floats,
    speed: Floats,
) -> None:
    """Write the stretches of one run in place."""
    steps = power.size
    if style in ("idle", "heater"):
        return
    k = int(rng.uniform(0, 240 if style == "drive" else 900) / STEP_S)
    short = rng.random() < 0.3  # full throttle for 5 s, or more gently and longer
    strength = (5, 60) if short else (1.2, 12)
    hold_power = float(np.exp(rng.uniform(*np.log(strength))))
    hold_s = float(np.exp(rng.uniform(np.log(8), np.log(200))))
    rest_s = float(np.exp(rng.uniform(np.log(20), np.log(250))))
    loose = float(rng.uniform(0, 0.7))
    hold_rpm, steady = float(rng.uniform(1150, 2400)), rng.random() < 0.4
    steady_power = float(np.exp(rng.uniform(np.log(1.1), np.log(5))))
    go_power = float(np.exp(rng.uniform(np.log(1.1), np.log(3.5))))
    go_mean = float(np.exp(rng.uniform(np.log(10), np.log(90))))
    stop_mean = float(rng.uniform(4, 30))
    pace = float(rng.uniform(15, 100))
    until = k + int(rng.uniform(300, 1800) / STEP_S) if style == "mixed" else steps
    rest_off = style == "mixed" and rng.random() < 0.35
    trip = pace
    while k < steps:
        driving = style == "drive" or (style == "mixed" and k < until)
        if driving:
            trip = min(max(trip * float(np.exp(rng.normal(0, 0.3))), 8.0), 130.0)
            trip = 0.3 * trip + 0.7 * pace
            j = k + max(int(rng.exponential(go_mean) / STEP_S), 3)
            power[k:j] *= go_power * (0.4 + 0.6 * trip / pace) * float(np.exp(rng.normal(0, 0.25)))
            phase[k:j], speed[k:j] = DRIVING, trip
            rpm[k:j] = rng.uniform(1000, 2200)
            if rng.random() < 0.3:  # the engine races a moment before the wheels turn
                speed[k : k + 2], rpm[k : k + 2] = 0.0, 1700.0
            k = j + max(int(rng.exponential(stop_mean) / STEP_S), 2)
        elif style == "holds" and steady:
            power[k:], phase[k:], rpm[k:] = power[k:] * steady_power, LOADED, hold_rpm
            break
        elif style == "holds":
            long_s = 5.0 if short else hold_s * float(np.exp(rng.normal(0, loose)))
            j = k + max(int(long_s / STEP_S), 2)
            power[k:j] *= hold_power
            phase[k:j], rpm[k:j] = LOADED, hold_rpm
            rest = rng.uniform(60, 90) if short else rest_s * float(np.exp(rng.normal(0, loose)))
            k = j + int(rest / STEP_S)
        else:
            if rest_off:
                j = k + int(rng.uniform(60, 900) / STEP_S)
                power[k:j], phase[k:j], rpm[k:j] = 0.0, OFF, 0.0
            break


def _viscous(fluid: Floats, size: Floats, width: Floats) -> Floats:
    return 1 + size * np.exp(-np.clip(fluid - 20, -40, None) / width)


def _by_rates(rng: np.random.Generator, n: int, moving: bool) -> tuple[Floats, ...]:
    """Return rates and time constants (K/s, s) in the order of _vehicle."""
    to_coolant = logu(rng, 6, 50 if moving else 130, n) * 60
    to_coolant[rng.random(n) < (0.1 if moving else 0.3)] = _NEVER_S
    to_case, case_ratio = logu(rng, 0.3, 25, n) * 60, logu(rng, 0.2, 5, n)
    # The heat spreads into the case, the quicker the closer it is coupled.
    spread = 1 + case_ratio / (1 + to_case / 300)
    base = logu(rng, 0.15, 1.1 if moving else 2.2, n) / 60 * spread
    case_coolant = np.where(rng.random(n) < 0.5, _NEVER_S, logu(rng, 20, 200, n) * 60)
    return (
        logu(rng, 1.5, 9, n) / 60, logu(rng, 25, 500, n) * 60, base, to_coolant, to_case,
        case_ratio, logu(rng, 15, 300, n) * 60, case_coolant, np.full(n, 0.3),
    )  # fmt: skip


def _by_masses(rng: np.random.Generator, n: int, moving: bool) -> tuple[Floats, ...]:
    """Return the same from plausible hardware.

    3-14 kg of fluid at 2.1 kJ/kgK and 8-60 kg of aluminium at 0.9 kJ/kgK; 0.2-2.5 kW lost in the
    converter at warm idle; conductances in W/K. Plausible figures, no source.
    """
    fluid_j, case_j = logu(rng, 3, 14, n) * 2100, logu(rng, 8, 60, n) * 900
    coolant_j = logu(rng, 40e3, 200e3, n)
    base = logu(rng, 200, 1500 if moving else 2500, n) / fluid_j
    exchanger = np.where(rng.random(n) < 0.35, 1e-6, logu(rng, 10, 300, n))
    block = np.where(rng.random(n) < 0.3, 1e-6, logu(rng, 2, 40, n))
    return (
        logu(rng, 2500, 10e3, n) / coolant_j, coolant_j / logu(rng, 6, 45, n), base,
        fluid_j / exchanger, fluid_j / logu(rng, 30, 800, n), case_j / fluid_j,
        case_j / logu(rng, 4, 50, n), case_j / block, fluid_j / coolant_j,
    )  # fmt: skip


def _vehicle(
    rng: np.random.Generator, n: int, steps: int, style: str,
    power: Floats, phase: npt.NDArray[np.int8], rpm: Floats, speed: Floats,
) -> World:  # fmt: skip
    air = rng.uniform(-15, 38, n)
    warm = (rng.random(n) < 0.35) * rng.uniform(0, 45, n)
    fluid = air + warm + rng.uniform(0, 4, n)
    case = fluid + rng.uniform(-6, 3, n)
    coolant = np.maximum(fluid, air) + (rng.random(n) < 0.4) * rng.uniform(0, 50, n)
    thermostat = rng.uniform(76, 98, n)
    coolant = np.minimum(coolant, thermostat)
    moving = style in ("drive", "mixed")
    thick, width = rng.uniform(0, 2.5 if moving else 1.8, n), rng.uniform(12, 45, n)
    coolant_load = rng.uniform(0.3, 1.0, n)
    gate = np.where(rng.random(n) < 0.35, rng.uniform(35, 85, n), -100)
    gate_on_fluid = rng.random(n) < 0.5
    # Half are drawn as rates seen from outside, half as masses, conductances and powers.
    both = zip(_by_rates(rng, n, moving), _by_masses(rng, n, moving), strict=True)
    weighed = rng.random(n) < 0.5
    (coolant_rate, coolant_loss, base, to_coolant, to_case, case_ratio, case_air, case_coolant,
     swap) = (np.where(weighed, mass, rate) for rate, mass in both)  # fmt: skip
    cooled = rng.random(n) < (0.85 if moving else 0.4) * np.where(weighed, 0.5, 1.0)
    cool_at = np.where(cooled, rng.uniform(50, 105, n), 300)
    cool_s = logu(rng, 2, 30, n) * 60
    cool_to_air = rng.random(n) < 0.5
    wind = rng.uniform(0, 2.0, n)
    out_fluid, out_coolant = np.empty((n, steps)), np.empty((n, steps))
    running = phase != OFF
    for k in range(steps):
        out_fluid[:, k], out_coolant[:, k] = fluid, coolant
        blow = 1 + wind * speed[:, k] / 60
        load = np.clip(power[:, k], 0, 8) ** coolant_load
        # Between thermostat and a little above it the radiator takes all that comes.
        gain = coolant_rate * load * np.clip((thermostat + 2 - coolant) / 4, 0, 1) * running[:, k]
        open_ = np.clip((np.where(gate_on_fluid, fluid, coolant) - gate) / 4, 0, 1)
        exchange = open_ / to_coolant * np.where(running[:, k], 1, 0.2)
        cooler = (
            np.clip((fluid - cool_at) / 6, 0, 1)
            / cool_s
            * (fluid - np.where(cool_to_air, air, coolant - 5))
        )
        made = base * power[:, k] * _viscous(fluid, thick, width)
        d_fluid = made + (coolant - fluid) * exchange + (case - fluid) / to_case - cooler
        d_case = ((fluid - case) / to_case / case_ratio - (case - air) / case_air * blow
                  + (coolant - case) / case_coolant)  # fmt: skip
        d_cool = (
            gain - (coolant - air) / coolant_loss * blow * 0.5 - (coolant - fluid) * exchange * swap
        )
        fluid = fluid + STEP_S * d_fluid
        case = case + STEP_S * d_case
        coolant = coolant + STEP_S * d_cool
    return World(style, out_fluid, out_coolant, phase, rpm, speed, air)


def _heater(
    rng: np.random.Generator, n: int, steps: int,
    power: Floats, phase: npt.NDArray[np.int8], rpm: Floats, speed: Floats,
) -> World:  # fmt: skip
    """One or two masses under constant power, or a fixed hot side: an exponential approach."""
    air = rng.uniform(-10, 38, n)
    fluid = air + (rng.random(n) < 0.3) * rng.uniform(0, 30, n)
    other = fluid.copy()
    loss = logu(rng, 4, 200, n) * 60
    reach = rng.uniform(15, 140, n)
    hidden = np.where(rng.random(n) < 0.5, logu(rng, 0.5, 30, n) * 60, 1e9)
    ratio = logu(rng, 0.1, 3, n)
    out = np.empty((n, steps))
    for k in range(steps):
        out[:, k] = fluid
        d = (air + reach * power[:, k] - fluid) / loss + (other - fluid) / hidden
        other = other + STEP_S * (fluid - other) / hidden / ratio
        fluid = fluid + STEP_S * d
    return World("heater", out, out, phase, rpm, speed, air)


@dataclass(frozen=True, slots=True)
class Seen:
    """What one sensor says of one run: readings at irregular times."""

    times: list[float]
    values: list[float]
    quantum: float
    extras: dict[str, Any]


def see(rng: np.random.Generator, world: World, row: int, until_s: float) -> Seen:
    """Return readings of one run up to `until_s`, through a random sensor and poll rate."""
    period = float(rng.choice([0.5, 1.0, 1.0, 1.0, 2.0, 5.0]))
    count = int(until_s / period)
    times = np.arange(count) * period
    if rng.random() < 0.3:
        times = times + rng.uniform(0, 0.3 * period, count)
    grid = np.arange(world.fluid.shape[1]) * STEP_S
    true = np.interp(times, grid, world.fluid[row])
    lag = float(rng.choice([0.0, 0.0, 3.0, 15.0]))
    if lag:
        true = np.interp(times - lag, grid, world.fluid[row])
    kind = rng.random()
    if kind < 0.62:
        quantum, noise = 1.0, float(rng.choice([0.0, 0.0, 0.05, 0.15]))
    elif kind < 0.74:
        quantum, noise = 0.5, float(rng.choice([0.0, 0.0, 0.05, 0.1]))
    elif kind < 0.82:
        quantum, noise = 5 / 9, 0.0
    else:
        quantum, noise = 1 / 32, float(rng.uniform(0.0, 0.25))
    true = true + rng.normal(0, 1, count) * noise + (0.5 * quantum if rng.random() < 0.4 else 0.0)
    values = np.floor(true / quantum) * quantum
    return Seen(times.tolist(), values.tolist(), quantum, {"period": period})
