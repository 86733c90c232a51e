"""Time until an edge of the band is reached, with quantiles."""

from dataclasses import dataclass


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
