"""Many plausible transmissions beside the real one, pulled to its readings.

Each member has fluid, case and coolant as coupled masses, and its own heat made by each way, its
own exchange with case, coolant and air. An ensemble Kalman filter (deterministic square-root form:
Whitaker and Hamill 2002) moves all of them at each observation; a slow walk keeps them able to
learn. Run ahead, they give the time to a temperature with its spread. Rates are per second,
temperatures degC; all draws are fixed, so the same readings give the same answer.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, log, sqrt

import numpy as np
import numpy.typing as npt

from warmwatch.core.phase import Phase

Floats = npt.NDArray[np.float64]

MEMBERS = 256
_SEED = 20261125
FLUID, CASE, COOLANT, AIR, THERMOSTAT = range(5)
# Name, median and log spread before anything was seen. Plausible figures, no source.
PARAMETERS: tuple[tuple[str, float, float], ...] = (
    ("case_rate", 1 / 240, 0.9),  # fluid to case, per fluid mass
    ("case_ratio", 1.4, 0.7),  # heat capacity of the case over that of the fluid
    ("air_rate", 1 / 3000, 0.8),  # case to air, per case mass
    ("coolant_rate", 1 / 2400, 1.2),  # fluid to coolant, per fluid mass
    ("block_rate", 1 / 4000, 1.0),  # case to engine block, per case mass
    ("thick", 0.5, 0.8),  # extra heat made by the cold, thick fluid
    ("idle", 1.8 / 60, 0.8),  # K/s made in the fluid alone, in each way
    ("loaded", 4.0, 0.9),  # over that at idle
    ("driving", 2.0, 0.8),  # over that at idle
    ("unknown", 1.3, 0.9),  # over that at idle
    ("wind", 0.8, 0.7),  # more exchange with the air at 60 km/h
    ("engine", 2.5 / 60, 0.6),  # K/s of the coolant at idle
    ("engine_air", 1 / 4000, 0.6),
    (
        "still",
        0.5,
        0.6,
    ),  # exchange of fluid and case with the engine off, over that with it running
)
NAMES = tuple(name for name, _, _ in PARAMETERS)
_FIRST = THERMOSTAT + 1
_WALK = 0.6  # log units in the root of an hour
_PROCESS_K = {  # in the root of a minute: what the heat of a way varies by itself
    Phase.DRIVING: 0.35, Phase.LOADED: 0.15, Phase.UNKNOWN: 0.12, Phase.IDLE: 0.03, Phase.OFF: 0.02,
}  # fmt: skip
_CASE_K = 0.25
_WIDTH_C = 25.0  # the fluid thins by a factor e over so much
_ENGINE = {Phase.IDLE: 1.0, Phase.LOADED: 2.5, Phase.DRIVING: 2.5, Phase.UNKNOWN: 1.5}
_SETTLE_S = 150.0  # a cold fast idle comes down over about so long
_MOST_STEP_S = 5.0
HORIZON_S = 10800.0
_SHORTEST_S, _GROWTH, _LONGEST_S = 4.0, 1.13, 240.0


def _ahead_steps() -> Floats:
    """Return the steps of a run ahead, s: short first, until the horizon is passed."""
    steps = [_SHORTEST_S]
    while sum(steps) < HORIZON_S:
        steps.append(min(steps[-1] * _GROWTH, _LONGEST_S))
    return np.array(steps)[:, None]


_STEPS_S = _ahead_steps()
_TIMES_S = np.concatenate([[0.0], np.cumsum(_STEPS_S)])

Mix = Mapping[Phase, float]


@dataclass(frozen=True, slots=True)
class Doing:
    """What heats or cools: shares of the ways, engine speed over warm idle, road speed in km/h."""

    mix: Mix
    revs: float = 1.0
    speed_kmh: float = 0.0

    def alike(self, other: "Doing") -> bool:
        """Whether the other heats alike, so that what was run ahead still holds."""
        ways = self.mix.keys() | other.mix.keys()
        off = max(abs(self.mix.get(way, 0.0) - other.mix.get(way, 0.0)) for way in ways)
        return off < 0.1 and abs(self.revs - other.revs) < 0.1


def _stepped(state: Floats, rates: Sequence[Floats]) -> Floats:
    """Return fluid, case and coolant one step on; `rates` as `Ensemble._rates` gives them."""
    (made, thick, gain, opens, keep, from_air, to_coolant, by_air, to_block,
     fluid_own, fluid_case, case_own, case_fluid) = rates  # fmt: skip
    fluid, case, coolant = state
    after = np.empty_like(state)
    cold = np.exp((20.0 - np.maximum(fluid, -30.0)) / _WIDTH_C)
    shut = np.minimum(np.maximum(opens - coolant, 0.0), 4.0)  # of a thermostat, four times over
    after[COOLANT] = coolant = coolant * keep + gain * shut + from_air
    right = fluid + made + thick * cold + to_coolant * coolant
    below = case + by_air + to_block * coolant
    after[FLUID] = right * fluid_own + fluid_case * below
    after[CASE] = below * case_own + case_fluid * right
    return after


@dataclass(frozen=True, slots=True)
class Ahead:
    """The members run ahead: `times_s` from now, `fluid` of shape (times, members) in degC."""

    times_s: Floats
    fluid: Floats

    def reach_s(self, target_c: float, *, falling: bool) -> Floats:
        """Return when each member first passes `target_c`, inf where it does not, s from now."""
        gap = (self.fluid - target_c) * (-1.0 if falling else 1.0)
        passed = gap >= 0.0
        first = passed.argmax(axis=0)
        never = ~passed.any(axis=0)
        before = np.maximum(first - 1, 0)
        here = np.arange(gap.shape[1])
        low, high = gap[before, here], gap[first, here]
        rise = np.where(high > low, high - low, 1.0)
        part = np.where(first > 0, -low / rise, 0.0)
        when = self.times_s[before] + part * (self.times_s[first] - self.times_s[before])
        return np.where(never, np.inf, np.where(first > 0, when, 0.0))

    @property
    def end_c(self) -> float:
        """The median of the fluid at the end."""
        return float(np.quantile(self.fluid[-1], 0.5))

    def end_below_c(self, target: float) -> float:
        """Return the median at the end of those members that stay below `target`."""
        ends = self.fluid[-1][self.fluid[-1] < target]
        return float(np.quantile(ends, 0.5)) if len(ends) else inf

    def level_c(self, after_s: float, probability: float = 0.5) -> float:
        """Return a quantile of the fluid after so long."""
        i = max(min(int(np.searchsorted(self.times_s, after_s)), len(self.times_s) - 1), 1)
        part = (after_s - self.times_s[i - 1]) / (self.times_s[i] - self.times_s[i - 1])
        row = self.fluid[i - 1] + min(part, 1.0) * (self.fluid[i] - self.fluid[i - 1])
        return float(np.quantile(row, probability))


class Ensemble:
    """`x` holds a column for each member: five temperatures, then the logs of PARAMETERS."""

    def __init__(self, means: Floats | None = None, covariance: Floats | None = None) -> None:
        self._rng = np.random.Generator(np.random.PCG64(_SEED))
        draws = self._rng.standard_normal((_FIRST + len(NAMES), MEMBERS))
        half = MEMBERS // 2  # opposite pairs: the mean of the members is the median stated above
        draws[:, half:] = -draws[:, :half]
        self._draws, self.x = draws, draws.copy()
        if means is None or covariance is None:
            means = np.array([log(median) for _, median, _ in PARAMETERS])
            covariance = np.diag([spread**2 for _, _, spread in PARAMETERS])
        root = np.linalg.cholesky(covariance)
        self.x[_FIRST:] = means[:, None] + np.einsum("ij,jk->ik", root, draws[_FIRST:])
        self.x[THERMOSTAT] = 88.0 + 5.0 * draws[THERMOSTAT]
        self._theta = np.exp(self.x[_FIRST:])
        self._unwalked_s = 0.0
        self._kept: tuple[float, Doing, tuple[Floats, ...]] | None = None

    def begin(
        self, fluid_c: float, step_c: float, coolant_c: float | None, air_c: float | None
    ) -> None:
        """Take a first reading: nothing is known but it, and what is beside it."""
        self._kept = None
        d, x = self._draws, self.x
        share = 0.5 * (1.0 + np.tanh(0.9 * d[FLUID]))  # within the step, about even
        x[FLUID] = fluid_c + step_c * share
        air = 17.0 + 9.0 * d[AIR] if air_c is None else air_c + 1.5 * d[AIR]
        x[AIR] = np.minimum(air, fluid_c + 4.0)
        soaked = 0.5 * (1.0 + np.tanh(0.9 * d[CASE]))
        x[CASE] = x[AIR] + (0.35 + 0.7 * soaked) * (x[FLUID] - x[AIR])
        warm = 0.5 * (1.0 + np.tanh(0.9 * d[COOLANT]))
        spread = np.maximum(88.0 - x[FLUID], 0.0) * np.maximum(2.0 * warm - 1.0, 0.0)
        x[COOLANT] = x[FLUID] + spread if coolant_c is None else coolant_c

    def advance(self, dt: float, doing: Doing) -> None:
        """Move all members on by `dt` seconds."""
        while dt > 1e-9:
            step = min(dt, _MOST_STEP_S)
            if self._kept is None or self._kept[:2] != (step, doing):
                self._kept = step, doing, self._rates(step, doing, doing.revs)
            self.x[:3] = _stepped(self.x[:3], self._kept[2])
            dt -= step
            self._unwalked_s += step

    def observe(self, row: int, value: float, sd: float, doing: Doing) -> None:
        """Pull all members to one observation of a temperature, with its standard deviation."""
        self._kept = None
        self._walk(doing)
        x = self.x
        mean = x.sum(axis=1) / MEMBERS
        off = x - mean[:, None]
        own = off[row]
        cov = (off * own).sum(axis=1) / (MEMBERS - 1)
        var = float(cov[row])
        total = var + sd * sd
        if total <= 0.0:
            return
        gain = cov / total
        keep = 1.0 / (1.0 + sd / sqrt(total))
        x += gain[:, None] * ((value - mean[row]) - keep * own)
        np.clip(x[_FIRST:], -16.0, 6.0, out=x[_FIRST:])
        self._theta = np.exp(x[_FIRST:])

    def mean(self, row: int) -> float:
        """Return the mean of one temperature."""
        return float(self.x[row].sum()) / MEMBERS

    def place(self, fluid_c: float, step_c: float) -> None:
        """Continuity was lost: whatever happened, the fluid is within the step that is read."""
        share = 0.5 * (1.0 + np.tanh(0.9 * self._draws[FLUID]))
        self.x[FLUID] = fluid_c + step_c * share

    def ahead(self, doing: Doing, low_c: float, high_c: float) -> Ahead:
        """Run all members ahead at one way; the fluid is known to be between the two levels now."""
        state = self.x[:3].copy()
        np.clip(state[FLUID], low_c, high_c, out=state[FLUID])
        levels = [state[FLUID]]
        revs = 1.0 + (doing.revs - 1.0) * np.exp(-_TIMES_S[:-1, None] / _SETTLE_S)
        for rates in zip(*np.broadcast_arrays(*self._rates(_STEPS_S, doing, revs)), strict=True):
            state = _stepped(state, rates)
            levels.append(state[FLUID])
        return Ahead(_TIMES_S, np.array(levels))

    def parameters(self) -> tuple[Floats, Floats]:
        """Return mean and covariance of the logs of the parameters, in the order of NAMES."""
        rows = self.x[_FIRST:]
        means = rows.sum(axis=1) / MEMBERS
        off = rows - means[:, None]
        return means, np.einsum("ik,jk->ij", off, off) / (MEMBERS - 1)

    def heat(self, mix: Mix, revs: float | Floats = 1.0) -> Floats:
        """Return what each member makes in the fluid, K/s, once it is thin."""
        idle = self._theta[NAMES.index("idle")]
        total = np.zeros(MEMBERS)
        for phase, share in mix.items():
            if phase is Phase.IDLE:
                total = total + share * idle * revs * revs
            elif phase is not Phase.OFF:
                total = total + share * idle * self._theta[NAMES.index(phase.value)]
        return total

    def _rates(self, dt: float | Floats, doing: Doing, revs: float | Floats) -> tuple[Floats, ...]:
        """Return what a step of `dt` needs and the temperatures do not change.

        The step is implicit in fluid and case, so that no rate upsets it. `dt` and `revs` may be
        columns: then each array has a row for each of them.
        """
        case_rate, ratio, air_rate, coolant_rate, block_rate, thick = self._theta[:6]
        wind, engine, engine_air, still = self._theta[10:14]
        air, thermostat = self.x[AIR], self.x[THERMOSTAT]
        off = doing.mix.get(Phase.OFF, 0.0)
        load = sum(share * _ENGINE.get(phase, 0.0) for phase, share in doing.mix.items())
        cooled = dt * engine_air
        to_case = dt * case_rate * (still if off else 1.0)
        to_air = dt * air_rate * (1.0 + wind * (doing.speed_kmh / 60.0))
        to_coolant = dt * coolant_rate * (1.0 - 0.8 * off)
        to_block = dt * block_rate
        back = to_case / ratio
        here, there = 1.0 + to_case + to_coolant, 1.0 + back + to_air + to_block
        scale = 1.0 / (here * there - to_case * back)
        made = dt * self.heat(doing.mix, revs)
        keep = 1.0 / (1.0 + cooled)
        return (
            made, made * thick, engine * dt * (0.25 * load * revs) * keep, thermostat + 2.0, keep,
            cooled * air * keep, to_coolant, to_air * air, to_block,
            there * scale, to_case * scale, here * scale, back * scale,
        )  # fmt: skip

    def _walk(self, doing: Doing) -> None:
        """Let every parameter wander a little, and the fluid by what its way varies."""
        span, self._unwalked_s = self._unwalked_s, 0.0
        if span <= 0.0:
            return
        noise = self._rng.standard_normal((len(NAMES) + 2, MEMBERS))
        noise -= noise.mean(axis=1)[:, None]
        self.x[_FIRST:] += _WALK * sqrt(span / 3600.0) * noise[:-2]
        process = sum(share * _PROCESS_K[phase] for phase, share in doing.mix.items())
        self.x[FLUID] += process * sqrt(span / 60.0) * noise[-1]
        self.x[CASE] += _CASE_K * sqrt(span / 60.0) * noise[-2]
