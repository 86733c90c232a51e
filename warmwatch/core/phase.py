"""What the vehicle is doing, from engine speed and road speed."""

from collections.abc import Mapping
from enum import StrEnum


class Phase(StrEnum):
    """What the vehicle is doing; `loaded` is standing with the engine held well above idle."""

    OFF = "off"
    IDLE = "idle"
    LOADED = "loaded"
    DRIVING = "driving"
    UNKNOWN = "unknown"


RUNNING_RPM = 300.0
"""Below this an engine does not run (cranking is slower)."""
LOADED_RPM = 1500.0
"""A cold fast idle stays below this; held against the brake an engine turns faster."""
MOVING_KMH = 3.0
STANDING_KMH = 1.0
FRESH_S = 5.0
"""A speed or an engine speed older than this is no longer believed."""
STOP_S = 3.0
"""A halt shorter than this, as at a junction, is still driving."""


class PhaseTracker:
    """Follows the phase; values that stop coming turn it to `unknown` after FRESH_S.

    >>> PhaseTracker().step(0.0, {"engine_rpm": 780.0, "speed_kmh": 0.0})
    <Phase.IDLE: 'idle'>
    """

    def __init__(self, fresh_s: float = FRESH_S) -> None:
        self._fresh_s = fresh_s
        self._seen: dict[str, tuple[float, float]] = {}
        self._moved_s: float | None = None
        self.phase = Phase.UNKNOWN

    def step(self, elapsed_s: float, values: Mapping[str, float]) -> Phase:
        """Take the values of one reading and return the phase now."""
        for name in ("engine_rpm", "speed_kmh"):
            if name in values:
                self._seen[name] = (elapsed_s, values[name])
        self.phase = self._judge(elapsed_s)
        return self.phase

    def latest(self, name: str, elapsed_s: float) -> float | None:
        """Return the value of `engine_rpm` or `speed_kmh` while it is fresh."""
        seen = self._seen.get(name)
        return None if seen is None or elapsed_s - seen[0] > self._fresh_s else seen[1]

    def _judge(self, elapsed_s: float) -> Phase:
        rpm = self.latest("engine_rpm", elapsed_s)
        speed = self.latest("speed_kmh", elapsed_s)
        if self._is_moving(elapsed_s, speed):
            return Phase.DRIVING
        if rpm is None:
            return Phase.UNKNOWN
        if rpm < RUNNING_RPM:
            return Phase.OFF
        if speed is None:
            # A fast engine may be driving or loaded; without a road speed nobody can say which.
            return Phase.IDLE if rpm < LOADED_RPM else Phase.UNKNOWN
        return Phase.IDLE if rpm < LOADED_RPM else Phase.LOADED

    def _is_moving(self, elapsed_s: float, speed_kmh: float | None) -> bool:
        if speed_kmh is None:
            self._moved_s = None
            return False
        if speed_kmh > MOVING_KMH or (self._moved_s is not None and speed_kmh > STANDING_KMH):
            self._moved_s = elapsed_s
        if self._moved_s is not None and elapsed_s - self._moved_s > STOP_S:
            self._moved_s = None
        return self._moved_s is not None
