"""What else is known: the way and its history, coolant, speeds, ambient."""

from dataclasses import dataclass
from math import exp

from warmwatch.core.forecast.ensemble import Doing
from warmwatch.core.phase import Phase

_SHORT_S, _LONG_S = 60.0, 600.0
_STALE_S = 20.0
_HALT_S = 90.0  # a shorter stop belongs to the drive
_HALT_MEAN_S = 25.0  # after so long most stops that end at all have ended
_FASTER = (Phase.LOADED, Phase.UNKNOWN)
_PULL_S = 2.0  # an engine that turns faster for less pulls away
_HOLDS_S = 300.0  # idling so long after a hold, the series is over
_USUAL_GO_S, _USUAL_TRIP_S = 100.0, 120.0  # before it shows: the moving part of a drive
_USUAL_IDLE_RPM, _MOST_IDLE_RPM = 720.0, 950.0
_MOST_REVS = 3.0


class Slow:
    """A value with its running means over about one and about ten minutes."""

    __slots__ = ("age_s", "long", "now", "seen_s", "short")

    def __init__(self) -> None:
        self.now: float | None = None
        self.short = self.long = 0.0
        self.seen_s = self.age_s = 0.0

    def add(self, now_s: float, value: float) -> None:
        """Take a value; the means start at the first one."""
        if self.now is None:
            self.short = self.long = value
        else:
            dt = min(now_s - self.seen_s, _LONG_S)
            self.age_s += dt
            self.short += (value - self.short) * dt / (min(_SHORT_S, self.age_s) + dt)
            self.long += (value - self.long) * dt / (min(_LONG_S, self.age_s) + dt)
        self.now, self.seen_s = value, now_s

    def fresh(self, now_s: float) -> bool:
        """Whether a value came lately."""
        return self.now is not None and now_s - self.seen_s <= _STALE_S


@dataclass(slots=True)
class _Stretch:
    """A drive, or a series of holds: when it began, and how long of it was driven or held."""

    since_s: float = 0.0
    lasted_s: float = 0.0
    active_s: float = 0.0
    last_s: float = -1e9
    times: int = 0

    def begin(self, now_s: float) -> None:
        self.since_s, self.lasted_s, self.active_s, self.times = now_s, 0.0, 0.0, 0


class Context:
    """Follows what the vehicle does. A drive includes its halts, a series of holds its rests."""

    def __init__(self) -> None:
        self.phase = Phase.UNKNOWN
        self.phase_since_s = self._halt_since_s = 0.0
        self.coolant, self.ambient = Slow(), Slow()
        self.rpm, self.speed = Slow(), Slow()
        self.parked = False
        self.spent_s = dict.fromkeys(Phase, 0.0)
        self._drive, self._holds = _Stretch(), _Stretch()
        self._last_s: float | None = None
        self._warm_rpm: float | None = None

    def step(self, now_s: float, phase: Phase) -> None:
        """Follow the phase; what passed since the last step is booked to the phase until now."""
        dt = 0.0 if self._last_s is None else now_s - self._last_s
        self._book(now_s, dt)
        if phase is not self.phase:
            self.phase, self.phase_since_s = phase, now_s
            if phase not in _FASTER:
                self._halt_since_s = now_s
            if phase is Phase.LOADED:
                self._holds.times += 1
            elif phase is Phase.DRIVING:  # idling after a drive is no rest between holds
                self._holds = _Stretch()
        for stretch, way, most_s in (
            (self._drive, Phase.DRIVING, _HALT_S),
            (self._holds, Phase.LOADED, _HOLDS_S),
        ):
            if phase is way:
                if now_s - stretch.last_s > most_s:
                    stretch.begin(now_s)
                    stretch.times = 1
                stretch.last_s = now_s
        self._last_s = now_s

    def restart(self) -> None:
        """Continuity was lost: nothing is booked across the hole."""
        self._last_s = None

    @property
    def in_drive(self) -> bool:
        """Whether it drives, or halts so briefly that it will drive on."""
        if self.phase is Phase.DRIVING:
            return True
        halted = self.phase is Phase.IDLE or self._pulls_away
        brief = self._halt_since_s - self._drive.last_s < 5.0 and self._halted_s < _HALT_S
        return halted and brief and not self.parked

    @property
    def in_holds(self) -> bool:
        """Whether it was held against the brakes more than once in this series."""
        here = self.phase in (Phase.IDLE, Phase.LOADED) and not self.in_drive
        return here and self._holds.times >= 2 and self._since_hold_s < _HOLDS_S

    @property
    def held_now(self) -> bool:
        """Whether it is held against the brakes, or rests between two holds."""
        return self.phase is Phase.LOADED or self.in_holds

    @property
    def way_since_s(self) -> float:
        """When the present way began; a series of holds is one way, and so is a drive."""
        if self.phase is Phase.DRIVING:
            return self._drive.since_s
        return self._holds.since_s if self.in_holds else self.phase_since_s

    @property
    def driven(self) -> float:
        """The share of the present or last drive that was driven, not halted; 0 without one."""
        return self._drive.active_s / self._drive.lasted_s if self._drive.lasted_s else 0.0

    @property
    def held(self) -> float:
        """The share of the present or last series of holds that was held."""
        return self._holds.active_s / self._holds.lasted_s if self._holds.lasted_s else 0.0

    @property
    def _halted_s(self) -> float:
        return max((self._last_s or 0.0) - self._halt_since_s, 0.0)

    @property
    def _pulls_away(self) -> bool:
        """Whether the engine turns faster for so short a time that it may just drive on."""
        now_s = self._last_s or 0.0
        return self.phase in _FASTER and now_s - self.phase_since_s < _PULL_S

    @property
    def _since_hold_s(self) -> float:
        return (self._last_s or 0.0) - self._holds.last_s

    def now(self) -> Doing:
        """Return what heats at this moment."""
        return Doing({self.phase: 1.0}, self._revs(), round(self._kmh(self.speed.now or 0.0)))

    def ahead(self) -> Doing:
        """Return what will heat if the mechanic goes on as now."""
        if self.in_drive:
            driving = self.other(Phase.DRIVING)
            if self.phase is Phase.DRIVING:
                return driving
            # The longer it stands, the less will it drive on.
            go = driving.mix[Phase.DRIVING] * exp(-self._halted_s / _HALT_MEAN_S)
            return Doing({Phase.DRIVING: go, Phase.IDLE: 1.0 - go}, 1.0, driving.speed_kmh)
        if self.in_holds:
            return Doing({Phase.LOADED: self.held, Phase.IDLE: 1.0 - self.held})
        return self.now()

    def other(self, way: Phase) -> Doing:
        """Return what would heat at another way."""
        if way is not Phase.DRIVING:
            return Doing({way: 1.0})
        go = (self._drive.active_s + _USUAL_GO_S) / (self._drive.lasted_s + _USUAL_TRIP_S)
        return Doing({way: go, Phase.IDLE: 1.0 - go}, 1.0, self.speed.long)

    def _kmh(self, value: float) -> float:
        return value if self.speed.fresh(self._last_s or 0.0) else 0.0

    def _revs(self) -> float:
        """Return the engine speed over that at warm idle, while it idles."""
        rpm = self.rpm
        if self.phase is not Phase.IDLE or not rpm.fresh(self._last_s or 0.0):
            return 1.0
        warm = min(self._warm_rpm or _USUAL_IDLE_RPM, _MOST_IDLE_RPM)
        return round(min(max((rpm.now or warm) / warm, 0.7), _MOST_REVS), 2)

    def _book(self, now_s: float, dt: float) -> None:
        self.spent_s[self.phase] += dt
        if self.in_drive:
            self._drive.lasted_s += dt
            self._drive.active_s += dt if self.phase is Phase.DRIVING else 0.0
        elif self.phase in (Phase.IDLE, Phase.LOADED) and self._since_hold_s < _HOLDS_S:
            self._holds.lasted_s += dt
            self._holds.active_s += dt if self.phase is Phase.LOADED else 0.0
        if self.phase is Phase.IDLE and self.rpm.fresh(now_s) and now_s - self.phase_since_s > 5.0:
            self._warm_rpm = min(self._warm_rpm or 1e9, max(self.rpm.short, 500.0))
