"""The conditions under which a level reading counts: met, not met, or not known, and why.

What is not known is never shown as met. Reasons use the meanings of J1939 SPN 3026 (transmission
oil level measurement status) where it has them, and carry its code. Times and tolerances are
common practice (60 to 180 s at idle before reading, selector through all positions, level
vehicle) or ours; service information comes first.
"""

import re
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from warmwatch.core.band import Place
from warmwatch.core.level.rules import CheckRules
from warmwatch.core.phase import LOADED_RPM, RUNNING_RPM, STANDING_KMH, Phase, PhaseTracker
from warmwatch.core.reading import Mark, MarkName

STATUS_REASONS: dict[int, str] = {
    1: "settling timer still counting down",
    2: "transmission in gear",
    3: "fluid temperature too low",
    4: "fluid temperature too high",
    5: "vehicle moving",
    6: "vehicle not level",
    7: "engine speed too low",
    8: "engine speed too high",
    9: "no request for a reading",
    13: "other",
}
"""J1939 SPN 3026, meanings in own words; 0 is valid, 14 an error, 15 not available."""

IN_BAND = "fluid in the band"
RATE_S = 60.0
"""The rate is taken over so long, so that a 1 degC step does not look like a slope."""
RATE_MIN_S = 20.0
_TILT = re.compile(r"[+-]?(\d*[.,]?\d+)\s*(?:°|deg\w*)?\s*(lengthwise|crosswise)?", re.I)


class State(StrEnum):
    """How a condition stands; the worst of several is the first in this order."""

    NOT_MET = "not met"
    UNKNOWN = "not known"
    MET = "met"


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition; `code` is the J1939 SPN 3026 code of the reason, None where it has none."""

    name: str
    state: State
    reason: str = ""
    code: int | None = None


class ConditionTracker:
    """Follows what the readings and the mechanic say about the conditions."""

    def __init__(
        self, rules: CheckRules, phases: PhaseTracker, fresh_s: float, unit: str = "C"
    ) -> None:
        self._rules, self._unit = rules, unit
        self._phases = phases
        self._fresh_s = fresh_s
        self._slow: dict[str, tuple[float, float]] = {}
        self._temps: deque[tuple[float, float]] = deque(maxlen=120)
        self._rate: float | None = None
        self._rate_known = True
        self._idle_since_s: float | None = None
        self._worked_s: float | None = None
        self._park = Told("in park", rules.in_park)
        self._cycled = Told("cycled", rules.selector_cycled)
        self._tilt_deg, self._tilt_axis = rules.tilt_deg, rules.tilt_axis
        self._level = Told("level", rules.tilt_deg is not None)

    def reading(self, elapsed_s: float, values: Mapping[str, float], phase: Phase) -> None:
        """Take a reading that the clock allows."""
        for name in ("in_park", "oil_level_status"):
            if name in values:
                self._slow[name] = (elapsed_s, values[name])
        if values.get("in_park", 1.0) < 0.5:
            self._park.lapse("the selector was read elsewhere after it was told")
        if phase is not Phase.IDLE:
            self._idle_since_s = None
        elif self._idle_since_s is None:
            self._idle_since_s = elapsed_s
        if phase in (Phase.LOADED, Phase.DRIVING):
            self._worked_s = elapsed_s
            self._park.lapse(f"the engine was {phase} after it was told")
        if phase in (Phase.OFF, Phase.DRIVING):
            self._cycled.lapse(f"the vehicle was {phase} after it was told")
        if phase is Phase.DRIVING:
            self._level.lapse("the vehicle was moved after it was measured")

    def fluid(self, elapsed_s: float, fluid_c: float) -> None:
        """Take a believed fluid temperature; one a second is kept."""
        if not self._temps or elapsed_s - self._temps[-1][0] >= 1.0:
            self._temps.append((elapsed_s, fluid_c))
            self._rate_known = False
        while elapsed_s - self._temps[0][0] > RATE_S:
            self._temps.popleft()

    def lose(self) -> None:
        """Continuity is lost: the rate starts anew."""
        self._temps.clear()
        self._rate_known = False

    def mark(self, mark: Mark) -> None:
        """Take what the mechanic says."""
        if mark.name is MarkName.IN_PARK:
            self._park.tell()
        elif mark.name is MarkName.SELECTOR_CYCLED:
            self._cycled.tell()
        elif mark.name is MarkName.VEHICLE_LEVEL:
            self._tilt_deg, axis = told_tilt(mark.note)
            self._tilt_axis = axis or self._rules.tilt_axis
            self._level.tell()

    def rate_c_per_min(self) -> float | None:
        """Return the slope of the last RATE_S by least squares, None without enough of it."""
        if not self._rate_known:
            self._rate, self._rate_known = self._slope_c_per_min(), True
        return self._rate

    def _slope_c_per_min(self) -> float | None:
        temps = self._temps
        if len(temps) < 3 or temps[-1][0] - temps[0][0] < RATE_MIN_S:
            return None
        count = len(temps)
        mean_t = sum(t for t, _ in temps) / count
        mean_c = sum(c for _, c in temps) / count
        spread = sum((t - mean_t) ** 2 for t, _ in temps)
        slope = sum((t - mean_t) * (c - mean_c) for t, c in temps) / spread
        return round(60.0 * slope, 3)

    def judge(self, now_s: float, place: Place, *, blind: bool) -> tuple[Condition, ...]:
        """Return all conditions as they stand."""
        conditions = (
            self._engine(now_s),
            self._standing(now_s),
            self._selector(now_s),
            self._cycled.judge("selector cycled", "told by the mechanic"),
            self._vehicle_level(),
            self._settled(now_s),
            self._idled(now_s),
            in_band(place, blind=blind),
        )
        status = self._latest("oil_level_status", now_s)
        return conditions if status is None else (*conditions, _by_status(int(status)))

    def _engine(self, now_s: float) -> Condition:
        rpm = self._phases.latest("engine_rpm", now_s)
        if rpm is None:
            return Condition("engine idling", State.UNKNOWN, "engine speed is not read")
        if rpm < RUNNING_RPM:
            return _unmet("engine idling", 7, f"{rpm:.0f} 1/min")
        if rpm >= LOADED_RPM:
            return _unmet("engine idling", 8, f"{rpm:.0f} 1/min")
        return Condition("engine idling", State.MET, f"{rpm:.0f} 1/min")

    def _standing(self, now_s: float) -> Condition:
        speed = self._phases.latest("speed_kmh", now_s)
        if speed is None:
            return Condition("vehicle standing", State.UNKNOWN, "vehicle speed is not read")
        if speed > STANDING_KMH:
            return _unmet("vehicle standing", 5, f"{speed:.0f} km/h")
        return Condition("vehicle standing", State.MET, f"{speed:.0f} km/h")

    def _selector(self, now_s: float) -> Condition:
        read = self._latest("in_park", now_s)
        if read is None:
            return self._park.judge("selector in park", "told by the mechanic")
        if read < 0.5:
            return _unmet("selector in park", 2, "read from the vehicle")
        return Condition("selector in park", State.MET, "read from the vehicle")

    def _vehicle_level(self) -> Condition:
        if not self._level.told or self._tilt_deg is None:
            return self._level.judge("vehicle level", "told by the mechanic, no figure")
        limit_deg = self._rules.tilt_limit_deg
        axis = f" {self._tilt_axis}" if self._tilt_axis else ""
        measured = f"measured {abs(self._tilt_deg):g}°{axis}, limit {limit_deg:g}°"
        if abs(self._tilt_deg) > limit_deg:
            return _unmet("vehicle level", 6, measured)
        return Condition("vehicle level", State.MET, measured)

    def _settled(self, now_s: float) -> Condition:
        name, rate = "fluid settled", self.rate_c_per_min()
        if self._worked_s is not None and now_s - self._worked_s < self._rules.settle_s:
            return _unmet(name, 1, f"{now_s - self._worked_s:.0f} s after the last load")
        if rate is None:
            return Condition(name, State.UNKNOWN, "too few readings for a rate")
        shown = f"{rate * (1.8 if self._unit == 'F' else 1.0):+.1f} °{self._unit}/min"
        if abs(rate) > self._rules.settle_rate_c_per_min:
            return _unmet(name, 1, shown)
        if self._phases.latest("engine_rpm", now_s) is None:
            return Condition(name, State.UNKNOWN, f"{shown}, but engine speed is not read")
        return Condition(name, State.MET, shown)

    def _idled(self, now_s: float) -> Condition:
        name, needed_s = "idled long enough", self._rules.idle_s
        if self._phases.latest("engine_rpm", now_s) is None:
            return Condition(name, State.UNKNOWN, "engine speed is not read")
        idled_s = 0.0 if self._idle_since_s is None else now_s - self._idle_since_s
        shown = f"{idled_s:.0f} s of {needed_s:.0f} s"
        if idled_s < needed_s:
            return _unmet(name, 1, shown)
        return Condition(name, State.MET, shown)

    def _latest(self, name: str, now_s: float) -> float | None:
        seen = self._slow.get(name)
        return None if seen is None or now_s - seen[0] > self._fresh_s else seen[1]


def told_tilt(note: str) -> tuple[float | None, str]:
    """Return the tilt in degrees and its axis from a note, None without a figure.

    The first figure counts; where figures with axes are told, the greatest of those.

    >>> told_tilt("0.3 lengthwise, 1.4 crosswise")
    (1.4, 'crosswise')
    """
    found = [(float(m[1].replace(",", ".")), (m[2] or "").lower()) for m in _TILT.finditer(note)]
    if not found:
        return None, ""
    return max([one for one in found if one[1]] or found[:1])


class Told:
    """Something the mechanic said, until what the vehicle does takes it back."""

    def __init__(self, what: str, told: bool) -> None:
        self._what = what
        self._lapsed = ""
        self.told = told

    def tell(self) -> None:
        self.told, self._lapsed = True, ""

    def lapse(self, reason: str) -> None:
        if self.told:
            self.told, self._lapsed = False, reason

    def judge(self, name: str, reason: str) -> Condition:
        if self.told:
            return Condition(name, State.MET, reason)
        return Condition(name, State.UNKNOWN, self._lapsed or "not told")


def _unmet(name: str, code: int, detail: str) -> Condition:
    return Condition(name, State.NOT_MET, f"{STATUS_REASONS[code]} ({detail})", code)


def in_band(place: Place, *, blind: bool = False) -> Condition:
    """Return whether the fluid is in the band, from where it is."""
    if blind or place is Place.UNSEEN:
        return Condition(IN_BAND, State.UNKNOWN, "the temperature is not known")
    if place is Place.INSIDE:
        return Condition(IN_BAND, State.MET)
    code = 3 if place is Place.BELOW else 4
    return Condition(IN_BAND, State.NOT_MET, STATUS_REASONS[code], code)


def _by_status(code: int) -> Condition:
    name = "vehicle's own level status"
    if code == 0:
        return Condition(name, State.MET, "conditions valid", 0)
    if code in STATUS_REASONS:
        return Condition(name, State.NOT_MET, STATUS_REASONS[code], code)
    return Condition(name, State.UNKNOWN, "no status given", code)


def worst(before: tuple[Condition, ...], now: tuple[Condition, ...]) -> tuple[Condition, ...]:
    """Return for each condition the worse of the two; an unmet one stays unmet."""
    order = list(State)
    kept = {condition.name: condition for condition in before}
    for condition in now:
        old = kept.get(condition.name)
        if old is None or order.index(condition.state) < order.index(old.state):
            kept[condition.name] = condition
    return tuple(kept.values())
