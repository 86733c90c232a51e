"""Times holds against the brake and the rests between them. It warns; it never advises a hold.

Common practice, no source: a full-throttle hold is no longer than 5 s, and at least 60 s at idle in
park or neutral come before the next one.
"""

from warmwatch.core.events import Event, EventKind
from warmwatch.core.phase import Phase


START_S = 1.5
"""A shorter burst of engine speed, as when driving off, is no hold."""


class HoldTimer:
    """Follows the phase; the times come from the readings."""

    def __init__(self, limit_s: float, rest_s: float) -> None:
        self._limit_s = limit_s
        self._rest_s = rest_s
        self._held_since_s: float | None = None
        self._start_told = self._limit_told = False
        self._resting_since_s: float | None = None

    def held_s(self, elapsed_s: float) -> float | None:
        """Return how long the present hold has lasted, None without one."""
        if self._held_since_s is None or not self._start_told:
            return None
        return elapsed_s - self._held_since_s

    def rest_left_s(self, elapsed_s: float) -> float | None:
        """Return how much of the rest is still to come, None when none is due."""
        if self._resting_since_s is None:
            return None
        return max(0.0, self._rest_s - (elapsed_s - self._resting_since_s))

    def step(self, elapsed_s: float, phase: Phase, fluid_c: float | None) -> list[Event]:
        """Take the phase at a reading and return what is to be said."""
        if phase is Phase.LOADED:
            return self._holding(elapsed_s, fluid_c)
        if self._held_since_s is not None:
            return self._end(elapsed_s, fluid_c)
        if self.rest_left_s(elapsed_s) == 0.0:
            self._resting_since_s = None
            return [Event(elapsed_s, EventKind.REST_OVER, fluid_c)]
        return []

    def _holding(self, elapsed_s: float, fluid_c: float | None) -> list[Event]:
        if self._held_since_s is None:
            self._held_since_s = elapsed_s
            self._start_told = self._limit_told = False
        held_s = elapsed_s - self._held_since_s
        events = []
        if not self._start_told and held_s >= START_S:
            self._start_told = True
            events.append(Event(elapsed_s, EventKind.HOLD_START, fluid_c, reason=self._haste()))
        if not self._limit_told and held_s >= self._limit_s:
            self._limit_told = True
            reason = f"held for {self._limit_s:g} s: let go"
            events.append(Event(elapsed_s, EventKind.HOLD_LIMIT, fluid_c, reason=reason))
        return events

    def _haste(self) -> str:
        assert self._held_since_s is not None
        missing_s = self.rest_left_s(self._held_since_s)
        self._resting_since_s = None
        return f"{missing_s:.0f} s of the rest were missing" if missing_s else ""

    def _end(self, elapsed_s: float, fluid_c: float | None) -> list[Event]:
        assert self._held_since_s is not None
        reason = f"lasted {elapsed_s - self._held_since_s:.0f} s"
        self._held_since_s = None
        if not self._start_told:
            return []
        self._resting_since_s = elapsed_s
        return [Event(elapsed_s, EventKind.HOLD_END, fluid_c, reason=reason)]
