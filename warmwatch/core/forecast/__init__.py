"""Time until an edge of the band is reached, with quantiles."""

from warmwatch.core.forecast.forecaster import Forecaster

__all__ = ["Forecaster"]
