"""Times holds against the brakes and the rests between them. It warns; it never advises a hold.

Common practice, no source: a full-throttle hold is no longer than 5 s, and at least 60 s at idle in
park or neutral come before the next one. Service information may forbid holds altogether.

The rules:
- All times are those of the readings. A hold counts from the first loaded reading.
- An engine speed that dips for less than RELEASE_S does not end a hold, or its limit would begin
  anew with every dip. A burst shorter than START_S is no hold, and one within the limit that ends
  in driving off asks for no rest.
- Only time seen at idle counts as rest: neither driving, nor a stopped engine, nor silence.
- Silence longer than SILENCE_S ends a hold where it was last seen; what follows is a new one, and
  the missing rest is told.
"""

from warmwatch.core.events import Event, EventKind
from warmwatch.core.phase import Phase
from warmwatch.core.reason import Reason

START_S = 1.5
RELEASE_S = 1.5
SILENCE_S = 10.0
SLACK_S = 1.5
"""Polls fall this much before or after the moments of letting go and of the next hold."""


class HoldTimer:
    """Follows the phase; `limit_s` and `rest_s` are the job's.

    >>> timer = HoldTimer(limit_s=5.0, rest_s=60.0)
    >>> [str(event.kind) for t in range(7) for event in timer.step(t, Phase.LOADED, 60.0)]
    ['hold-start', 'hold-limit']
    """

    def __init__(self, limit_s: float, rest_s: float) -> None:
        self._limit_s = limit_s
        self._rest_s = rest_s
        self._last_s: float | None = None
        self._held_since_s: float | None = None
        self._loaded_s = 0.0
        self._let_go_s: float | None = None
        self._start_told = self._limit_told = self._clear_told = False
        self._rested_s: float | None = None
        self._was_idle = False

    def held_s(self, elapsed_s: float) -> float | None:
        """Return how long the present hold has lasted, None without one."""
        if self._held_since_s is None or not self._start_told:
            return None
        return max(0.0, elapsed_s - self._held_since_s)

    @property
    def over_limit(self) -> bool:
        """Whether the present hold has lasted longer than it may."""
        return self._held_since_s is not None and self._limit_told

    def rest_left_s(self, elapsed_s: float) -> float | None:
        """Return how much of the rest is still to come, None when none is due."""
        if self._rested_s is None or self.held_s(elapsed_s) is not None:
            return None
        return max(0.0, self._rest_s - self._rested_s)

    def step(self, elapsed_s: float, phase: Phase, fluid_c: float | None) -> list[Event]:
        """Take the phase at a reading and return what is to be said."""
        if phase is not Phase.LOADED and self._held_since_s is None and self._rested_s is None:
            self._last_s, self._was_idle = elapsed_s, phase is Phase.IDLE
            return []
        silent_s = 0.0 if self._last_s is None else elapsed_s - self._last_s
        events = []
        if silent_s > SILENCE_S:
            events += self._end(self._loaded_s, elapsed_s, fluid_c, silent=True)
            self._was_idle = False
        self._last_s = elapsed_s
        if phase is Phase.LOADED:
            events += self._holding(elapsed_s, fluid_c)
        else:
            events += self._resting(elapsed_s, silent_s, phase, fluid_c)
            events += self._released(elapsed_s, phase, fluid_c)
        self._was_idle = phase is Phase.IDLE
        return events

    def _holding(self, elapsed_s: float, fluid_c: float | None) -> list[Event]:
        if self._held_since_s is None:
            self._held_since_s = elapsed_s
            self._start_told = self._limit_told = False
        self._loaded_s, self._let_go_s = elapsed_s, None
        held_s = elapsed_s - self._held_since_s
        events = []
        if not self._start_told and held_s >= min(START_S, self._limit_s):
            self._start_told = True
            events.append(Event(elapsed_s, EventKind.HOLD_START, fluid_c, None, self._cautions()))
        if not self._limit_told and held_s >= self._limit_s:
            self._limit_told = True
            held = Reason("held", {"held_s": round(held_s, 1), "limit_s": self._limit_s})
            events.append(Event(elapsed_s, EventKind.HOLD_LIMIT, fluid_c, None, (held,)))
        return events

    def _cautions(self) -> tuple[Reason, ...]:
        told = []
        if not self._clear_told:
            self._clear_told = True
            told.append(Reason("keep-clear"))
        if self._rested_s is not None and self._rested_s < self._rest_s - SLACK_S:
            missing_s = round(self._rest_s - self._rested_s, 1)
            told.append(Reason("rest-missing", {"missing_s": missing_s}))
        self._rested_s = None
        return tuple(told)

    def _released(self, elapsed_s: float, phase: Phase, fluid_c: float | None) -> list[Event]:
        if self._held_since_s is None:
            return []
        if self._let_go_s is None:
            self._let_go_s = elapsed_s
        if self._start_told and elapsed_s - self._let_go_s < RELEASE_S:
            return []
        drove_off = phase is Phase.DRIVING and not self._limit_told
        ended = self._end(self._let_go_s, elapsed_s, fluid_c, silent=False)
        if drove_off:
            self._rested_s = None
        return ended

    def _end(
        self, until_s: float, elapsed_s: float, fluid_c: float | None, *, silent: bool
    ) -> list[Event]:
        if self._held_since_s is None:
            return []
        lasted_s, told = until_s - self._held_since_s, self._start_told
        self._held_since_s = self._let_go_s = None
        if not told:
            return []
        self._start_told = False
        # The release was seen over this time, so it has been rest already.
        self._rested_s = 0.0 if silent else elapsed_s - until_s
        lasted = Reason("lasted", {"lasted_s": round(lasted_s, 1)})
        reasons = (lasted, Reason("readings-stopped")) if silent else (lasted,)
        return [Event(elapsed_s, EventKind.HOLD_END, fluid_c, None, reasons)]

    def _resting(
        self, elapsed_s: float, silent_s: float, phase: Phase, fluid_c: float | None
    ) -> list[Event]:
        if self._rested_s is None or self._held_since_s is not None:
            return []
        if phase is Phase.IDLE and self._was_idle and silent_s <= SILENCE_S:
            self._rested_s += silent_s
        if self._rested_s < self._rest_s:
            return []
        self._rested_s = None
        return [Event(elapsed_s, EventKind.REST_OVER, fluid_c)]
