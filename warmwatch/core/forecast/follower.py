"""Keeps the plausible transmissions beside the real one: what is read pulls them.

The moment of a step is sharp, whatever the sensor's resolution; between two steps the fluid is only
known to be within one. A finely resolved signal is taken as means over a few seconds instead.
"""

from dataclasses import dataclass

from warmwatch.core.forecast.context import Context
from warmwatch.core.forecast.ensemble import (
    AIR,
    COOLANT,
    FLUID,
    HORIZON_S,
    Ahead,
    Doing,
    Ensemble,
)
from warmwatch.core.forecast.track import Track
from warmwatch.core.phase import Phase

_STEP_S = 1.0  # the members move on in steps of at least this
_EDGE_SHARE, _EDGE_C = 0.12, 0.02  # of a step, and degC: how sharp the moment of a step is
_FINE_SHARE, _FINE_C = 0.5, 0.04  # of the noise
_WITHIN_S, _WITHIN_SHARE = 5.0, 0.25  # so often is it checked that the members are within the step
_COOLANT_C, _AIR_C = 0.7, 2.0
_MARGIN_SHARE = 0.03
_LONG_GAP_S = 60.0
_FELL_C = 2.0


@dataclass(frozen=True, slots=True)
class Beside:
    """What is read beside the fluid, None where it is not."""

    coolant_c: float | None = None
    ambient_c: float | None = None
    engine_rpm: float | None = None
    speed_kmh: float | None = None
    in_park: float | None = None


class Follower:
    """The path of the fluid, the way it is heated, and the members that follow it."""

    def __init__(self, ensemble: Ensemble) -> None:
        self.track, self.context, self.ensemble = Track(), Context(), ensemble
        self._at_s: float | None = None
        self._within_s = 0.0
        self._lost = False
        self._told: dict[int, float] = {}

    def update(self, now_s: float, fluid_c: float, phase: Phase, beside: Beside) -> None:
        """Take one good reading."""
        edges = self.track.edges
        self.track.add(now_s, fluid_c)
        first = self._at_s is None
        if self._at_s is None:
            self._at_s = now_s
            self.ensemble.begin(fluid_c, self.track.quantum_c, beside.coolant_c, beside.ambient_c)
        if self._lost:
            self._rejoin(now_s, fluid_c, phase)
        edged = self.track.edges != edges
        due = first or edged or now_s - self._at_s >= _STEP_S
        if due or phase is not self.context.phase:
            self._take(now_s, beside)
            doing = self.context.now()
            self.ensemble.advance(round(now_s - self._at_s, 3), doing)
            self._at_s = now_s
            self._observe(fluid_c, doing, edged)
            self._observe_beside(beside, doing)
            self.context.step(now_s, phase)

    def restart(self) -> None:
        """Continuity was lost: the next reading says where the fluid stands."""
        self.track.restart()
        self.context.restart()
        self._lost = self._at_s is not None

    def ahead(self, doing: Doing) -> Ahead:
        """Return the members run ahead from the present reading."""
        track = self.track
        if track.value is None or track.fine:
            return self.ensemble.ahead(doing, -60.0, 250.0)
        # Not on an edge of the step itself: who stands there would count as past it.
        margin_c = _MARGIN_SHARE * track.quantum_c
        low_c, high_c = track.value + margin_c, track.value + track.quantum_c - margin_c
        return self.ensemble.ahead(doing, low_c, high_c)

    def _take(self, now_s: float, beside: Beside) -> None:
        context = self.context
        for slow, value in (
            (context.coolant, beside.coolant_c),
            (context.ambient, beside.ambient_c),
            (context.rpm, beside.engine_rpm),
            (context.speed, beside.speed_kmh),
        ):
            if value is not None:
                slow.add(now_s, value)
        context.parked = beside.in_park == 1.0

    def _rejoin(self, now_s: float, fluid_c: float, phase: Phase) -> None:
        """Carry the members over a gap: at the present way, or cooling where the fluid fell."""
        self._lost = False
        silent_s = now_s - (now_s if self._at_s is None else self._at_s)
        fell = fluid_c < self.ensemble.mean(FLUID) - _FELL_C
        way = Phase.OFF if fell or phase is Phase.OFF else phase
        if silent_s > _LONG_GAP_S and way in (Phase.DRIVING, Phase.LOADED):
            way = Phase.IDLE
        doing = Doing({way: 1.0})
        self.ensemble.advance(min(max(silent_s, 0.0), HORIZON_S), doing)
        step_c = self.track.quantum_c
        self.ensemble.observe(FLUID, fluid_c + 0.5 * step_c, step_c, doing)
        self.ensemble.place(fluid_c, step_c)
        self._at_s = now_s

    def _observe(self, fluid_c: float, doing: Doing, edged: bool) -> None:
        track, now_s, step_c = self.track, self.track.now_s, self.track.quantum_c
        if edged:
            sd = _EDGE_SHARE * step_c + _EDGE_C
            if track.fine:
                sd = max(_FINE_SHARE * track.noise_c, _FINE_C)
            self.ensemble.observe(FLUID, track.levels[-1], sd, doing)
        elif track.fine or now_s - self._within_s < _WITHIN_S:
            return
        self._within_s = now_s
        mean = self.ensemble.mean(FLUID)
        low_c, high_c = fluid_c - 0.1 * step_c, fluid_c + 1.1 * step_c
        if not (edged or low_c <= mean <= high_c):
            nearest = min(max(mean, low_c), high_c)
            self.ensemble.observe(FLUID, nearest, _WITHIN_SHARE * step_c, doing)

    def _observe_beside(self, beside: Beside, doing: Doing) -> None:
        for row, value, sd in (
            (COOLANT, beside.coolant_c, _COOLANT_C),
            (AIR, beside.ambient_c, _AIR_C),
        ):
            if value is not None and value != self._told.get(row):
                self._told[row] = value
                self.ensemble.observe(row, value, sd, doing)
