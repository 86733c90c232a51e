"""What the forecaster gives: a forecast, the outlook for another way, what a rest does."""

from dataclasses import dataclass

import numpy as np

from warmwatch.core.forecast.ensemble import Ahead
from warmwatch.core.phase import Phase
from warmwatch.core.reason import Reason


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the fluid reaches an edge, counted from `elapsed_s`.

    `edge` is the edge concerned, "low" or "high"; `to` says whether the band is entered there
    ("enter") or left ("leave"). The quantiles are those of the time in case it is reached; all are
    None where that is unlikely. `chance` is the probability that it is reached at the present way:
    warming within an hour (a drive ends some time), cooling within three. `level_c` is where the
    fluid settles short of the edge, None while that cannot be said. `rate_c_per_min` is the
    present rate. `basis` says what the forecast rests on.
    """

    elapsed_s: float
    edge: str
    q10_s: float | None
    q50_s: float | None
    q90_s: float | None
    chance: float
    level_c: float | None
    rate_c_per_min: float
    to: str = "enter"
    basis: Reason | None = None

    @property
    def falling(self) -> bool:
        """Whether the edge is reached by cooling."""
        return (self.edge == "high") == (self.to == "enter")


@dataclass(frozen=True, slots=True)
class Outlook:
    """The forecast for another way than the present one; times as in `Forecast`."""

    way: Phase
    q10_s: float | None
    q50_s: float | None
    q90_s: float | None
    chance: float


@dataclass(frozen=True, slots=True)
class Rest:
    """What the fluid probably does with the engine off; reckoned, never to be used as a reading."""

    since_s: float
    ahead: Ahead

    def fluid_c(self, elapsed_s: float) -> float:
        """Return what it has probably cooled to, degC."""
        return round(self.ahead.level_c(elapsed_s - self.since_s), 1)

    def look_s(self, target_c: float) -> float | None:
        """Return when it is worth switching on: one in four is there; None for never."""
        times = np.sort(self.ahead.reach_s(target_c, falling=True))
        first = float(times[len(times) // 4])
        return round(self.since_s + first, 1) if np.isfinite(first) else None
