"""What the vehicle is doing, from engine speed and road speed."""

from collections.abc import Mapping
from enum import StrEnum

from warmwatch.core.latest import Latest


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
PRESSED_RPM = 1100.0
PRESSED_LOAD_PCT = 50.0
PRESSED_THROTTLE_PCT = 40.0
"""Where load or throttle is read, so much of either beside PRESSED_RPM is a hold, too: a standing
engine that turns freely needs neither."""
MOVING_KMH = 3.0
STANDING_KMH = 1.0
FRESH_S = 5.0
"""A speed or an engine speed older than this is no longer believed."""
_WATCHED = ("engine_rpm", "speed_kmh", "load_pct", "throttle_pct", "in_park")
STOP_S = 3.0
"""A halt shorter than this, as at a junction, is still driving."""


class PhaseTracker:
    """Follows the phase; values that stop coming turn it to `unknown` after FRESH_S.

    >>> PhaseTracker().step(0.0, {"engine_rpm": 780.0, "speed_kmh": 0.0})
    <Phase.IDLE: 'idle'>
    """

    def __init__(self, fresh_s: float = FRESH_S) -> None:
        self._fresh_s = fresh_s
        self._seen = Latest(_WATCHED)
        self._moved_s: float | None = None
        self.phase = Phase.UNKNOWN

    def step(self, elapsed_s: float, values: Mapping[str, float]) -> Phase:
        """Take the values of one reading and return the phase now."""
        self._seen.take(elapsed_s, values)
        self.phase = self._judge(elapsed_s)
        return self.phase

    def latest(self, name: str, elapsed_s: float) -> float | None:
        """Return the value of one of the watched quantities while it is fresh."""
        return self._seen.value(name, elapsed_s, self._fresh_s)

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
        return Phase.LOADED if self._is_held(elapsed_s, rpm) else Phase.IDLE

    def _is_held(self, elapsed_s: float, rpm: float) -> bool:
        """Whether a standing engine works against the brake; in park it only turns freely."""
        if self.latest("in_park", elapsed_s) == 1.0:
            return False
        load = self.latest("load_pct", elapsed_s) or 0.0
        throttle = self.latest("throttle_pct", elapsed_s) or 0.0
        pressed = load >= PRESSED_LOAD_PCT or throttle >= PRESSED_THROTTLE_PCT
        return rpm >= LOADED_RPM or (pressed and rpm >= PRESSED_RPM)

    def _is_moving(self, elapsed_s: float, speed_kmh: float | None) -> bool:
        if speed_kmh is None:
            self._moved_s = None
            return False
        if speed_kmh > MOVING_KMH or (self._moved_s is not None and speed_kmh > STANDING_KMH):
            self._moved_s = elapsed_s
        if self._moved_s is not None and elapsed_s - self._moved_s > STOP_S:
            self._moved_s = None
        return self._moved_s is not None
