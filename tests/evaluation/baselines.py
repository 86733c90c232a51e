"""What a person with a ruler would say: straight lines, and one exponential."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Rule = Callable[[Floats, Floats, float], float]
NEVER = float("inf")


def _line(times: Floats, values: Floats, target: float) -> float:
    if times.size < 2:
        return NEVER
    slope, level = np.polyfit(times - times[-1], values, 1)
    return float(max((target - level) / slope, 0.0)) if slope > 1e-9 else NEVER


def line_over(window_s: float) -> Rule:
    """Return the rule "least-squares line through the last `window_s`"."""

    def rule(times: Floats, values: Floats, target: float) -> float:
        keep = times >= times[-1] - window_s
        return _line(times[keep], values[keep], target)

    return rule


def exponential(times: Floats, values: Floats, target: float) -> float:
    """Return the time by the best exponential through the last 600 s (time constants on a grid)."""
    keep = times >= times[-1] - 600.0
    t, y = times[keep] - times[-1], values[keep]
    if t.size < 4:
        return NEVER
    best, answer = NEVER, NEVER
    for tau in np.geomspace(30, 30000, 80):
        basis = np.exp(-t / tau)
        design = np.column_stack([np.ones_like(t), basis])
        found, *_ = np.linalg.lstsq(design, y, rcond=None)
        error = float(((design @ found - y) ** 2).sum())
        if error < best:
            best = error
            settle, part = float(found[0]), float(found[1])
            inside = (target - settle) / part if part else -1.0
            rising = part < 0 < inside
            answer = max(float(-tau * np.log(inside)), 0.0) if rising else NEVER
    return answer


def start_to_now(times: Floats, values: Floats, target: float) -> float:
    """Return the time by the line from the first reading to the last one."""
    climb, seen_s = float(values[-1] - values[0]), float(times[-1] - times[0])
    return max((target - float(values[-1])) * seen_s / climb, 0.0) if climb > 0 else NEVER


RULES: dict[str, Rule] = {
    "line, last 60 s": line_over(60.0),
    "line, last 180 s": line_over(180.0),
    "line from the start": line_over(1e9),
    "start to now": start_to_now,
    "exponential, 600 s": exponential,
}
