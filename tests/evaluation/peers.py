"""What a person with a ruler, or a library for time series, would say.

Each rule takes the readings so far (seconds, degC), the place where the present way began, and the
target; it returns the seconds until the target, infinite where it gives none.
"""

import warnings
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Rule = Callable[[Floats, Floats, int, float], float]
NEVER = float("inf")
_EVERY_S, _MOST, _LEAST = 10.0, 120, 4  # what a library's model is fitted to
_AHEAD = 1080  # three hours


def _line(times: Floats, values: Floats, target: float) -> float:
    if times.size < 2:
        return NEVER
    slope, level = np.polyfit(times - times[-1], values, 1)
    return float((target - level) / slope) if (target - level) * slope > 1e-9 else NEVER


def line_over(window_s: float) -> Rule:
    """Return the rule "least-squares line through the last `window_s`"."""

    def rule(times: Floats, values: Floats, began: int, target: float) -> float:
        keep = times >= times[-1] - window_s
        return _line(times[keep], values[keep], target)

    return rule


def since_way_began(times: Floats, values: Floats, began: int, target: float) -> float:
    """Return the time by the least-squares line through the readings of the present way."""
    return _line(times[began:], values[began:], target)


def start_to_now(times: Floats, values: Floats, began: int, target: float) -> float:
    """Return the time by the line from the first reading to the last one."""
    climb, seen_s = float(values[-1] - values[0]), float(times[-1] - times[0])
    left = target - float(values[-1])
    return left * seen_s / climb if climb * left > 0 else NEVER


def newton(times: Floats, values: Floats, began: int, target: float) -> float:
    """Return the time by the best exponential through the readings of the present way."""
    t, y = times[began:] - times[-1], values[began:]
    if t.size < 4:
        return NEVER
    skip = max(t.size // 200, 1)
    t, y = t[::skip], y[::skip]
    basis = np.exp(-t[None, :] / np.geomspace(60, 30000, 40)[:, None])
    off, centre = basis - basis.mean(axis=1)[:, None], y - y.mean()
    parts = (off @ centre) / (off * off).sum(axis=1)
    errors = ((centre[None, :] - parts[:, None] * off) ** 2).sum(axis=1)
    best = int(errors.argmin())
    tau, part = float(np.geomspace(60, 30000, 40)[best]), float(parts[best])
    settle = float(y.mean() - part * basis[best].mean())
    inside = (target - settle) / part if part else -1.0
    return float(-tau * np.log(inside)) if 0 < inside < 1 else NEVER


def _resampled(times: Floats, values: Floats) -> Floats:
    grid = np.arange(times[-1], times[0] - 1e-9, -_EVERY_S)[:_MOST][::-1]
    return np.interp(grid, times, values)


def holt(times: Floats, values: Floats, began: int) -> Rule:
    """Return the rule of Holt's linear trend (statsmodels), fitted to the last 20 min."""
    from statsmodels.tsa.holtwinters import Holt

    y = _resampled(times, values)
    if y.size < _LEAST:
        return _never
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a fit of a few steps is told to be poor
        first, second = Holt(y, initialization_method="estimated").fit().forecast(2)
    slope = float(second - first)

    def rule(times: Floats, values: Floats, began: int, target: float) -> float:
        left = target - float(values[-1])
        return left / slope * _EVERY_S if left * slope > 1e-9 else NEVER

    return rule


def theta(times: Floats, values: Floats, began: int) -> Rule:
    """Return the rule of the Theta method (statsmodels), fitted to the last 20 min."""
    from statsmodels.tsa.forecasting.theta import ThetaModel

    y = _resampled(times, values)
    if y.size < _LEAST:
        return _never
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = ThetaModel(y, period=1, deseasonalize=False).fit(disp=False)
        path = np.asarray(model.forecast(_AHEAD))

    def rule(times: Floats, values: Floats, began: int, target: float) -> float:
        hit = np.flatnonzero(path >= target if target > float(values[-1]) else path <= target)
        return float(hit[0] + 1) * _EVERY_S if hit.size else NEVER

    return rule


def _never(times: Floats, values: Floats, began: int, target: float) -> float:
    return NEVER


RULES: dict[str, Rule] = {
    "line 60 s": line_over(60.0),
    "line 180 s": line_over(180.0),
    "line 300 s": line_over(300.0),
    "line, this way": since_way_began,
    "start to now": start_to_now,
    "Newton fit": newton,
}
FITTED: dict[str, Callable[[Floats, Floats, int], Rule]] = {"Holt": holt, "Theta": theta}
"""Fitted anew at a moment, and then asked for every target."""
