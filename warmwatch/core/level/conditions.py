"""The conditions under which a level reading counts: met, not met, or not known, and why.

What is not known is never shown as met. A condition that is not met carries the code of J1939
SPN 3026 (transmission oil level measurement status) where that has one for it. Times and
tolerances are common practice (60 to 180 s at idle before reading, selector through all positions,
level vehicle) or ours; service information comes first.
"""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from warmwatch.core.band import Place
from warmwatch.core.latest import Latest
from warmwatch.core.level.rules import AXES, CheckRules
from warmwatch.core.level.statements import KEPT_BEFORE, NO_AXIS, Statement, measured_tilts
from warmwatch.core.phase import LOADED_RPM, RUNNING_RPM, STANDING_KMH, Phase, PhaseTracker
from warmwatch.core.reading import Mark, MarkName
from warmwatch.core.reason import Reason

STATUS_UNMET = frozenset({1, 2, 3, 4, 5, 6, 7, 8, 9, 13})
"""J1939 SPN 3026: why the level cannot be measured; 0 is valid, 14 an error, 15 not available."""
RATE_S = 60.0
"""The rate is taken over so long, so that a 1 degC step does not look like a slope."""
RATE_MIN_S = 20.0


class ConditionState(StrEnum):
    """How a condition stands; the worst of several is the first in this order."""

    NOT_MET = "not met"
    UNKNOWN = "not known"
    MET = "met"


class ConditionName(StrEnum):
    """What a level check asks for."""

    ENGINE_IDLING = "engine-idling"
    VEHICLE_STANDING = "vehicle-standing"
    SELECTOR_IN_PARK = "selector-in-park"
    SELECTOR_CYCLED = "selector-cycled"
    VEHICLE_LEVEL = "vehicle-level"
    FLUID_SETTLED = "fluid-settled"
    IDLED = "idled"
    FLUID_IN_BAND = "fluid-in-band"
    LEVEL_STATUS = "level-status"


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition; `code` is the J1939 SPN 3026 code of the reason, None where it has none."""

    name: ConditionName
    state: ConditionState
    reason: Reason
    code: int | None = None


def _met(name: ConditionName, code: str, **figures: float) -> Condition:
    return Condition(name, ConditionState.MET, Reason(code, figures))


def _unknown(name: ConditionName, code: str, **figures: float) -> Condition:
    return Condition(name, ConditionState.UNKNOWN, Reason(code, figures))


def _unmet(name: ConditionName, status: int, code: str, **figures: float) -> Condition:
    return Condition(name, ConditionState.NOT_MET, Reason(code, figures), status)


def _as_told(name: ConditionName, statement: Statement, code: str = "") -> Condition:
    if statement.told:
        return _met(name, code or statement.code)
    return _unknown(name, statement.code)


class ConditionTracker:
    """Follows what the readings and the mechanic say about the conditions."""

    def __init__(self, rules: CheckRules, phases: PhaseTracker, fresh_s: float) -> None:
        self._rules = rules
        self._phases = phases
        self._fresh_s = fresh_s
        self._latest = Latest(("in_park", "oil_level_status"))
        self._temps: deque[tuple[float, float]] = deque(maxlen=120)
        self._rate: float | None = None
        self._rate_known = True
        self._idle_since_s: float | None = None
        self._worked_s: float | None = None
        self._park = Statement("park", rules.in_park)
        self._cycled = Statement("cycled", rules.selector_cycled)
        self._tilts: dict[str, float] = {}
        self._earlier_tilts: list[dict[str, float]] = []
        if rules.tilt_deg is not None:
            self._tilts[rules.tilt_axis or NO_AXIS] = abs(rules.tilt_deg)
        self._level = Statement("level", rules.tilt_deg is not None)

    def reading(self, elapsed_s: float, values: Mapping[str, float], phase: Phase) -> None:
        """Take a reading that the clock allows."""
        self._latest.take(elapsed_s, values)
        if values.get("in_park", 1.0) < 0.5:
            self._park.lapse("selector-moved")
        if phase is not Phase.IDLE:
            self._idle_since_s = None
        elif self._idle_since_s is None:
            self._idle_since_s = elapsed_s
        if phase in (Phase.LOADED, Phase.DRIVING):
            self._worked_s = elapsed_s
            self._park.lapse(phase)
        if phase in (Phase.OFF, Phase.DRIVING):
            self._cycled.lapse(phase)
        if phase is Phase.DRIVING:
            self._level.lapse(phase)
            self._tilts = {}
            self._earlier_tilts.clear()

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
            self._earlier_tilts = [*self._earlier_tilts, self._tilts][-KEPT_BEFORE:]
            self._tilts = self._tilts | measured_tilts(mark.note, self._rules.tilt_axis or NO_AXIS)
            self._level.tell()

    def take_back(self, mark: Mark) -> None:
        """A mark was taken back."""
        if mark.name is MarkName.IN_PARK:
            self._park.take_back()
        elif mark.name is MarkName.SELECTOR_CYCLED:
            self._cycled.take_back()
        elif mark.name is MarkName.VEHICLE_LEVEL:
            self._level.take_back()
            self._tilts = self._earlier_tilts.pop() if self._earlier_tilts else {}

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
            _as_told(ConditionName.SELECTOR_CYCLED, self._cycled),
            self.vehicle_level(),
            self._settled(now_s),
            self._idled(now_s),
            in_band(place, blind=blind),
        )
        status = self._latest.value("oil_level_status", now_s, self._fresh_s)
        return conditions if status is None else (*conditions, _by_status(int(status)))

    def _engine(self, now_s: float) -> Condition:
        name, rpm = ConditionName.ENGINE_IDLING, self._phases.latest("engine_rpm", now_s)
        if rpm is None:
            return _unknown(name, "rpm-not-read")
        if rpm < RUNNING_RPM:
            return _unmet(name, 7, "engine-off", rpm=rpm)
        if rpm >= LOADED_RPM:
            return _unmet(name, 8, "engine-fast", rpm=rpm)
        return _met(name, "engine-idles", rpm=rpm)

    def _standing(self, now_s: float) -> Condition:
        name, speed = ConditionName.VEHICLE_STANDING, self._phases.latest("speed_kmh", now_s)
        if speed is None:
            return _unknown(name, "speed-not-read")
        if speed > STANDING_KMH:
            return _unmet(name, 5, "moving", speed_kmh=speed)
        return _met(name, "standing", speed_kmh=speed)

    def _selector(self, now_s: float) -> Condition:
        name, read = (
            ConditionName.SELECTOR_IN_PARK,
            self._latest.value("in_park", now_s, self._fresh_s),
        )
        if read is None:
            return _as_told(name, self._park)
        if read < 0.5:
            return _unmet(name, 2, "in-gear")
        return _met(name, "read-from-vehicle")

    def vehicle_level(self) -> Condition:
        """Return how the vehicle stands, as it was told."""
        name = ConditionName.VEHICLE_LEVEL
        if not self._level.told or not self._tilts:
            return _as_told(name, self._level, "level-told-no-figure")
        limit_deg = self._rules.tilt_limit_deg
        figures = {f"{axis}_deg": deg for axis, deg in self._tilts.items()}
        if max(self._tilts.values()) > limit_deg:
            return _unmet(name, 6, "not-level", **figures, limit_deg=limit_deg)
        both = "tilts-measured" if set(AXES) <= self._tilts.keys() else "tilt-measured"
        return _met(name, both, **figures, limit_deg=limit_deg)

    def _settled(self, now_s: float) -> Condition:
        name, rate = ConditionName.FLUID_SETTLED, self.rate_c_per_min()
        needed_s, limit = self._rules.settle_s, self._rules.settle_rate_c_per_min
        if self._worked_s is not None and now_s - self._worked_s < needed_s:
            since_s = round(now_s - self._worked_s, 1)
            return _unmet(name, 1, "load-just-ended", since_s=since_s, needed_s=needed_s)
        if rate is None:
            return _unknown(name, "rate-not-known")
        if abs(rate) > limit:
            return _unmet(name, 1, "rate-too-fast", rate_c_per_min=rate, limit_c_per_min=limit)
        if self._phases.latest("engine_rpm", now_s) is None:
            return _unknown(name, "rate-without-rpm", rate_c_per_min=rate)
        return _met(name, "rate", rate_c_per_min=rate)

    def _idled(self, now_s: float) -> Condition:
        name, needed_s = ConditionName.IDLED, self._rules.idle_s
        if self._phases.latest("engine_rpm", now_s) is None:
            return _unknown(name, "rpm-not-read")
        idled_s = 0.0 if self._idle_since_s is None else round(now_s - self._idle_since_s, 1)
        if idled_s < needed_s:
            return _unmet(name, 1, "idled-too-short", idled_s=idled_s, needed_s=needed_s)
        return _met(name, "idled", idled_s=idled_s, needed_s=needed_s)


def in_band(place: Place, *, blind: bool = False) -> Condition:
    """Return whether the fluid is in the band, from where it is."""
    name = ConditionName.FLUID_IN_BAND
    if blind or place is Place.UNSEEN:
        return _unknown(name, "temperature-not-known")
    if place is Place.INSIDE:
        return _met(name, "inside-band")
    return _unmet(name, 3, "below-band") if place is Place.BELOW else _unmet(name, 4, "above-band")


def _by_status(code: int) -> Condition:
    name = ConditionName.LEVEL_STATUS
    reason = Reason(f"level-status-{code}")
    if code == 0:
        return Condition(name, ConditionState.MET, reason, 0)
    state = ConditionState.NOT_MET if code in STATUS_UNMET else ConditionState.UNKNOWN
    return Condition(name, state, reason, code)


def worst(before: tuple[Condition, ...], now: tuple[Condition, ...]) -> tuple[Condition, ...]:
    """Return for each condition the worse of the two; an unmet one stays unmet."""
    order = list(ConditionState)
    kept = {condition.name: condition for condition in before}
    for condition in now:
        old = kept.get(condition.name)
        if old is None or order.index(condition.state) < order.index(old.state):
            kept[condition.name] = condition
    return tuple(kept.values())


def fitness(conditions: tuple[Condition, ...]) -> tuple[bool | None, tuple[Reason, ...]]:
    """Return whether the level may be checked, and the reasons; None when that is not known.

    Of a fluid outside the band nothing is said here: the band has events of its own.
    """
    others = [c for c in conditions if c.name is not ConditionName.FLUID_IN_BAND]
    for state, fit in ((ConditionState.NOT_MET, False), (ConditionState.UNKNOWN, None)):
        if found := tuple(c.reason for c in others if c.state is state):
            return fit, found
    return True, ()
