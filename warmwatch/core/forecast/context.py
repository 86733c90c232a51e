"""What else is known about the warm-up: phase and its history, coolant, speeds, ambient."""

from warmwatch.core.phase import Phase

_ORDER = (Phase.OFF, Phase.IDLE, Phase.LOADED, Phase.DRIVING)
_SHORT_S, _LONG_S = 60.0, 600.0
_STALE_S = 20.0
_SETTLE_S = 5.0  # heating is booked to a phase in stretches of about this length


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


class Context:
    """Shares of time spent in each phase, heat gained in each, and the other values' means."""

    __slots__ = (
        "_age_s", "_booked_level", "_booked_s", "_last_s", "ambient", "coolant", "gained_c",
        "long_share", "phase", "phase_since_s", "rpm", "short_share", "speed", "spent_s",
        "stretches",
    )  # fmt: skip

    def __init__(self) -> None:
        self.phase = Phase.UNKNOWN
        self.phase_since_s = 0.0
        self.short_share = dict.fromkeys(_ORDER, 0.0)
        self.long_share = dict.fromkeys(_ORDER, 0.0)
        self.gained_c = dict.fromkeys(Phase, 0.0)
        self.spent_s = dict.fromkeys(Phase, 0.0)
        self.stretches = dict.fromkeys(Phase, 0)
        self.coolant, self.rpm, self.speed, self.ambient = Slow(), Slow(), Slow(), Slow()
        self._last_s: float | None = None
        self._age_s = 0.0
        self._booked_s: float | None = None
        self._booked_level = 0.0

    def due(self, now_s: float, phase: Phase) -> bool:
        """Whether the heat gained since the last booking should be booked now."""
        return (
            phase is not self.phase or self._booked_s is None or now_s - self._booked_s >= _SETTLE_S
        )

    def step(self, now_s: float, phase: Phase, level: float) -> None:
        """Book the stretch that ends now, and follow the phase; `level` is the fluid's path."""
        if self._booked_s is None or self._last_s is None:
            self.short_share.update({p: float(p is phase) for p in _ORDER})
            self.long_share.update(self.short_share)
        else:
            self.gained_c[self.phase] += level - self._booked_level
            self.spent_s[self.phase] += now_s - self._booked_s
            self._share(now_s - self._last_s)
        if phase is not self.phase:
            self.stretches[self.phase] += 1
            self.phase, self.phase_since_s = phase, now_s
        self._booked_s, self._booked_level = now_s, level
        self._last_s = now_s

    def in_holds(self) -> bool:
        """Whether the vehicle stands and was held against the brake more than once."""
        return self.stretches[Phase.LOADED] >= 2 and self.long_share[Phase.DRIVING] < 0.2

    def restart(self) -> None:
        """Continuity was lost: nothing is booked across the hole."""
        self._booked_s = None

    def _share(self, dt: float) -> None:
        self._age_s += dt
        short = dt / (min(_SHORT_S, self._age_s) + dt)
        long = dt / (min(_LONG_S, self._age_s) + dt)
        for p in _ORDER:
            here = float(p is self.phase)
            self.short_share[p] += (here - self.short_share[p]) * short
            self.long_share[p] += (here - self.long_share[p]) * long
