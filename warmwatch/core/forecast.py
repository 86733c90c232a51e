"""Time until an edge of the band is reached, with quantiles."""

from dataclasses import dataclass
from math import exp

from warmwatch.core.forecast_context import Context
from warmwatch.core.forecast_features import features, reference_rate
from warmwatch.core.forecast_net import answer
from warmwatch.core.forecast_track import Track
from warmwatch.core.phase import Phase


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the fluid reaches an edge, counted from `elapsed_s`.

    `edge` is "low" before the band and "high" inside it. A quantile is None where it is not reached
    at the present way of heating; `chance` is the probability that the edge is reached at all.
    `level_c` is where the fluid would level off, None while that cannot be said. `rate_c_per_min`
    is the present heating rate.
    """

    elapsed_s: float
    edge: str
    q10_s: float | None
    q50_s: float | None
    q90_s: float | None
    chance: float
    level_c: float | None
    rate_c_per_min: float


@dataclass(frozen=True, slots=True)
class Prior:
    """What earlier recordings taught about how this vehicle warms up."""


class Forecaster:
    """Follows the fluid and says when an edge is reached.

    >>> forecaster = Forecaster()
    >>> for second in range(0, 601, 60):
    ...     forecaster.update(float(second), 30.0 + second / 60.0)
    >>> forecaster.to_edge(600.0, 50.0, "low").edge
    'low'
    """

    def __init__(self, prior: Prior | None = None) -> None:
        self._prior = prior
        self._track = Track()
        self._context = Context()

    def update(
        self,
        elapsed_s: float,
        fluid_c: float,
        *,
        phase: Phase = Phase.UNKNOWN,
        coolant_c: float | None = None,
        ambient_c: float | None = None,
        engine_rpm: float | None = None,
        speed_kmh: float | None = None,
    ) -> None:
        """Take one good reading; the other values are used where they are known."""
        self._track.add(elapsed_s, fluid_c)
        context = self._context
        if coolant_c is not None:
            context.coolant.add(elapsed_s, coolant_c)
        if ambient_c is not None:
            context.ambient.add(elapsed_s, ambient_c)
        if engine_rpm is not None:
            context.rpm.add(elapsed_s, engine_rpm)
        if speed_kmh is not None:
            context.speed.add(elapsed_s, speed_kmh)
        if context.due(elapsed_s, phase):
            context.step(elapsed_s, phase, self._track.level())

    def restart(self) -> None:
        """Continuity was lost (a blind gap): what was seen last no longer says where it stands."""
        self._track.restart()
        self._context.restart()

    def to_edge(self, elapsed_s: float, target_c: float, edge: str) -> Forecast:
        """Return the forecast for `target_c`: reached ("low") or passed ("high")."""
        track = self._track
        level = track.level()
        target = track.target_level(target_c, edge == "high")
        rate = reference_rate(track, level) if track.times else 0.0
        if not track.times:
            return Forecast(elapsed_s, edge, None, None, None, 0.5, None, 0.0)
        line_s, found = features(track, self._context, target, level)
        guess = answer(found)
        waited = elapsed_s - track.now_s
        sure = guess.chance >= 0.5
        times = [round(max(line_s * exp(r) - waited, 0.0), 1) for r in guess.ratios]
        q10, q50, q90 = (times[i] if sure else None for i in (0, 2, 4))
        return Forecast(
            elapsed_s, edge, q10, q50, q90, round(guess.chance, 3), None, round(rate * 60.0, 2)
        )
