"""Lumped thermal masses: each has one temperature, and heat flows between them.

Textbook method ("lumped capacitance"): C dT/dt = heat + sum of G (T_other - T). The solver is the
classical fourth-order Runge-Kutta rule, and heat lost to the surroundings is integrated beside the
temperatures, so that the balance heat in = heat stored + heat lost can be checked.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

AMBIENT = -1
"""Stands for the surroundings where a path names a mass: a temperature that never changes."""


@dataclass(frozen=True, slots=True)
class Mass:
    """Something with one temperature; its heat capacity is `base_j_k + slope_j_k2 * t_c` in J/K."""

    name: str
    base_j_k: float
    slope_j_k2: float = 0.0

    def capacity_j_k(self, t_c: float) -> float:
        """Return the heat capacity in J/K at `t_c`."""
        return self.base_j_k + self.slope_j_k2 * t_c

    def stored_j(self, from_c: float, to_c: float) -> float:
        """Return the heat in J taken up between two temperatures (the integral of the capacity)."""
        mean_c = (from_c + to_c) / 2.0
        return self.capacity_j_k(mean_c) * (to_c - from_c)


@dataclass(frozen=True, slots=True)
class Path:
    """Heat flows from mass `a` to mass `b` (indices, or AMBIENT) at `g_w_k` watts per kelvin."""

    a: int
    b: int
    g_w_k: float


@dataclass(frozen=True, slots=True)
class Network:
    """Masses and the paths between them."""

    masses: tuple[Mass, ...]
    paths: tuple[Path, ...]

    def advance(
        self,
        temps_c: Sequence[float],
        heat_w: Sequence[float],
        ambient_c: float,
        seconds: float,
        longest_s: float = 1.0,
    ) -> tuple[tuple[float, ...], float]:
        """Return the temperatures in degC after `seconds`, and the heat in J lost to ambient.

        `heat_w` is the heat made in each mass in W, constant over `seconds`; steps are at most
        `longest_s`.
        """
        steps = max(1, math.ceil(seconds / longest_s))
        state = (*temps_c, 0.0)
        for _ in range(steps):
            state = self._step(state, heat_w, ambient_c, seconds / steps)
        return state[:-1], state[-1]

    def _step(
        self, state: tuple[float, ...], heat_w: Sequence[float], ambient_c: float, dt: float
    ) -> tuple[float, ...]:
        k1 = self._rates(state, heat_w, ambient_c)
        k2 = self._rates(_moved(state, k1, dt / 2.0), heat_w, ambient_c)
        k3 = self._rates(_moved(state, k2, dt / 2.0), heat_w, ambient_c)
        k4 = self._rates(_moved(state, k3, dt), heat_w, ambient_c)
        return tuple(
            s + dt / 6.0 * (a + 2.0 * b + 2.0 * c + d)
            for s, a, b, c, d in zip(state, k1, k2, k3, k4, strict=True)
        )

    def _rates(
        self, state: tuple[float, ...], heat_w: Sequence[float], ambient_c: float
    ) -> tuple[float, ...]:
        temps_c = state[:-1]
        flow_w = list(heat_w)
        lost_w = 0.0
        for path in self.paths:
            other_c = ambient_c if path.b == AMBIENT else temps_c[path.b]
            watts = path.g_w_k * (temps_c[path.a] - other_c)
            flow_w[path.a] -= watts
            if path.b == AMBIENT:
                lost_w += watts
            else:
                flow_w[path.b] += watts
        rates = (
            watts / mass.capacity_j_k(t_c)
            for mass, watts, t_c in zip(self.masses, flow_w, temps_c, strict=True)
        )
        return (*rates, lost_w)


def _moved(state: tuple[float, ...], rates: tuple[float, ...], dt: float) -> tuple[float, ...]:
    return tuple(s + dt * r for s, r in zip(state, rates, strict=True))


def loss_w(torque_nm: float, rpm: float, loss: float = 1.0) -> float:
    """Return the heat in W from a torque turning at a speed: torque x speed x 2 pi/60 x loss.

    `loss` is the fraction that does not leave as motion: at stall all of it (1). Source of the
    relation: power of a rotating shaft, any handbook of mechanics.
    """
    return torque_nm * rpm * 2.0 * math.pi / 60.0 * loss
