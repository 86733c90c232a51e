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
LOADED_RPM = 1400.0
"""Until an engine has shown its own warm idle: a cold fast idle stays below this, and a hold in
drive, by common practice 1500 to 1600, lies above (no source)."""
HOLD_OVER_IDLE = 1.9
"""So many times its own warm idle a standing engine turns in a hold against the brakes."""
PERHAPS_OVER_IDLE = 1.5
"""Between this and HOLD_OVER_IDLE a warm engine idles no more, but nobody can say what it does; out
of park it is held."""
WARM_IDLE_RPM = (450.0, 1000.0)
"""A standing engine that turns so slowly for WARM_IDLE_S shows its warm idle."""
WARM_IDLE_S = 5.0
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
        self._slow_since_s: float | None = None
        self._slow_rpm = 0.0
        self.warm_idle_rpm: float | None = None
        self.phase = Phase.UNKNOWN

    def step(self, elapsed_s: float, values: Mapping[str, float]) -> Phase:
        """Take the values of one reading and return the phase now."""
        self._seen.take(elapsed_s, values)
        rpm = self.latest("engine_rpm", elapsed_s)
        self.phase = self._judge(elapsed_s, rpm)
        self._learn_idle(elapsed_s, rpm)
        return self.phase

    def latest(self, name: str, elapsed_s: float) -> float | None:
        """Return the value of one of the watched quantities while it is fresh."""
        return self._seen.value(name, elapsed_s, self._fresh_s)

    def _judge(self, elapsed_s: float, rpm: float | None) -> Phase:
        speed = self.latest("speed_kmh", elapsed_s)
        if self._is_moving(elapsed_s, speed):
            return Phase.DRIVING
        if rpm is None:
            return Phase.UNKNOWN
        if rpm < RUNNING_RPM:
            return Phase.OFF
        if speed is None:
            # A fast engine may be driving or loaded; without a road speed nobody can say which.
            return Phase.IDLE if rpm < self._over_idle(HOLD_OVER_IDLE) else Phase.UNKNOWN
        return self._standing(elapsed_s, rpm)

    def _standing(self, elapsed_s: float, rpm: float) -> Phase:
        """Tell a hold against the brakes, relative to this engine's own warm idle.

        In park an engine only turns freely. While it has not yet shown a warm idle, all up to
        LOADED_RPM is a cold fast idle.
        """
        in_park = self.latest("in_park", elapsed_s)
        if in_park == 1.0:
            return Phase.IDLE
        if rpm >= self._over_idle(HOLD_OVER_IDLE) or (
            rpm >= PRESSED_RPM and self._is_pressed(elapsed_s)
        ):
            return Phase.LOADED
        if self.warm_idle_rpm is None or rpm < self._over_idle(PERHAPS_OVER_IDLE):
            return Phase.IDLE
        return Phase.LOADED if in_park == 0.0 else Phase.UNKNOWN

    def _is_pressed(self, elapsed_s: float) -> bool:
        load = self.latest("load_pct", elapsed_s) or 0.0
        throttle = self.latest("throttle_pct", elapsed_s) or 0.0
        return load >= PRESSED_LOAD_PCT or throttle >= PRESSED_THROTTLE_PCT

    def _over_idle(self, times: float) -> float:
        return LOADED_RPM if self.warm_idle_rpm is None else times * self.warm_idle_rpm

    def _learn_idle(self, elapsed_s: float, rpm: float | None) -> None:
        """Learn the warm idle: the slowest that the standing engine has turned for a while."""
        low, high = WARM_IDLE_RPM
        if self.phase is not Phase.IDLE or rpm is None or not low <= rpm <= high:
            self._slow_since_s = None
            return
        if self._slow_since_s is None:
            self._slow_since_s, self._slow_rpm = elapsed_s, rpm
        self._slow_rpm = max(self._slow_rpm, rpm)
        if elapsed_s - self._slow_since_s >= WARM_IDLE_S:
            self.warm_idle_rpm = min(self.warm_idle_rpm or high, self._slow_rpm)
            self._slow_since_s = None

    def _is_moving(self, elapsed_s: float, speed_kmh: float | None) -> bool:
        if speed_kmh is None:
            self._moved_s = None
            return False
        if speed_kmh > MOVING_KMH or (self._moved_s is not None and speed_kmh > STANDING_KMH):
            self._moved_s = elapsed_s
        if self._moved_s is not None and elapsed_s - self._moved_s > STOP_S:
            self._moved_s = None
        return self._moved_s is not None
