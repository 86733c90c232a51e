"""Silence that is meant: the ignition is off on purpose, to let the fluid cool or to drain it.

The rules:
- A rest begins with the mark `resting`, and is refused while the plug is out. Once the readings
  have stopped nothing insists. What was inside the band is no longer claimed.
- Readings that return end it. Readings that never stopped for STILL_ON_S make it void: silence
  that comes later was not meant.
- How warm the fluid probably is now is reckoned by the forecast for a stopped engine, and beyond it
  by Newton's law of cooling with a wide spread. It is never used as a reading.
- `look-again` comes when the fluid has probably cooled to the band; where that cannot be reckoned,
  after LONG_S. It is said again a few times, and then no more.
"""

import math
from dataclasses import dataclass, field, replace

from warmwatch.core.band import Band
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Rest as Cooling
from warmwatch.core.reason import Reason

STILL_ON_S = 60.0
LONG_S = 3600.0
AGAIN_S = 900.0
MOST_LOOKS = 4
KEPT_RESTS = 20
AMBIENT_C = 20.0
AMBIENT_ERR_C = 10.0
"""Where the air's temperature is not read (ours, no source)."""
TAU_S = (2700.0, 4500.0, 7200.0)
"""How fast a parked transmission cools: to a third of its distance to the air within so long, fast,
usual and slow (ours, no source)."""


@dataclass(frozen=True, slots=True)
class Rest:
    """A rest, as it stands; `silent` once the readings have stopped.

    `last_s` and `last_c` are those of the last believed reading, `ambient_c` the air's temperature
    where it was read, `cooling` what the forecaster knows.
    """

    since_s: float
    last_s: float | None
    last_c: float | None
    ambient_c: float | None = None
    silent: bool = False
    until_s: float | None = None
    cooling: Cooling | None = field(default=None, compare=False, repr=False)


def reckoned_c(rest: Rest, now_s: float) -> tuple[float, float, float] | None:
    """Return the lowest, the middle and the highest that the fluid has probably cooled to by now.

    In degC, the 10, 50 and 90 % quantiles where the forecaster reaches; None without a reading
    before.
    """
    if rest.last_c is None or rest.last_s is None:
        return None
    if rest.cooling is not None:
        after_s = now_s - rest.cooling.since_s
        if after_s <= rest.cooling.ahead.times_s[-1]:
            low, middle, high = (
                round(rest.cooling.ahead.level_c(max(after_s, 0.0), p), 1) for p in (0.1, 0.5, 0.9)
            )
            return low, middle, high
    last_c, passed_s = rest.last_c, max(0.0, now_s - rest.last_s)
    air_c, err_c = _air(rest)
    ends = [
        _cooled(last_c, air, passed_s, tau_s)
        for air in (air_c - err_c, air_c, air_c + err_c)
        for tau_s in TAU_S
    ]
    return min(ends), _cooled(last_c, air_c, passed_s, TAU_S[1]), max(ends)


def _air(rest: Rest) -> tuple[float, float]:
    return (AMBIENT_C, AMBIENT_ERR_C) if rest.ambient_c is None else (rest.ambient_c, 0.0)


def _cooled(last_c: float, air_c: float, passed_s: float, tau_s: float) -> float:
    return round(air_c + (last_c - air_c) * math.exp(-passed_s / tau_s), 1)


def cooling_s(rest: Rest, target_c: float) -> float | None:
    """Return how long after the last reading `target_c` is probably reached; None if never."""
    air_c, _ = _air(rest)
    if rest.last_c is None or rest.last_c <= target_c or target_c <= air_c + 0.5:
        return None
    return float(round(TAU_S[1] * math.log((rest.last_c - air_c) / (target_c - air_c))))


class RestTracker:
    """Follows rests for one band."""

    def __init__(self, band: Band) -> None:
        self._band = band
        self.rest: Rest | None = None
        self.done: tuple[Rest, ...] = ()
        self._looks: list[float] = []

    @property
    def silent(self) -> bool:
        """Whether silence is meant now, and has begun."""
        return self.rest is not None and self.rest.silent

    @property
    def due_s(self) -> float:
        """When `look-again` comes next; infinite when it does not."""
        return self._looks[0] if self.silent and self._looks else math.inf

    def begin(self, now_s: float) -> None:
        """The mechanic says that silence is meant from now on."""
        if self.rest is None:
            self.rest = Rest(now_s, None, None)

    def fall_silent(
        self,
        good: tuple[float, float] | None,
        ambient_c: float | None,
        now_s: float,
        cooling: Cooling | None = None,
    ) -> None:
        """The readings have stopped; `good` is the last believed one as (elapsed_s, fluid_c)."""
        if self.rest is None or self.rest.silent:
            return
        last_s, last_c = good or (None, None)
        self.rest = replace(
            self.rest,
            last_s=last_s,
            last_c=last_c,
            ambient_c=ambient_c,
            silent=True,
            cooling=cooling,
        )
        first_s = max(now_s + 1.0, float(round(self._first_look_s(self.rest, now_s))))
        self._looks = [first_s + AGAIN_S * number for number in range(MOST_LOOKS)]

    def _first_look_s(self, rest: Rest, now_s: float) -> float:
        start_s = now_s if rest.last_s is None else rest.last_s
        target_c = self._band.high_c
        if rest.last_c is None or rest.last_c <= target_c:
            return start_s + LONG_S
        if rest.cooling is not None:
            look_s = rest.cooling.look_s(target_c)
            return start_s + LONG_S if look_s is None else look_s
        wait_s = cooling_s(rest, target_c)
        return start_s + (LONG_S if wait_s is None else wait_s)

    def looks(self, until_s: float, fluid_c: float | None) -> list[Event]:
        """Return an event for each time up to `until_s` at which it was worth switching on.

        `fluid_c` is the last believed temperature.
        """
        found = []
        while self.rest is not None and self.due_s <= until_s:
            at_s = self._looks.pop(0)
            reasons = self._why(self.rest, at_s)
            found.append(Event(at_s, EventKind.LOOK_AGAIN, fluid_c, reasons=reasons))
        return found

    def _why(self, rest: Rest, at_s: float) -> tuple[Reason, ...]:
        rested = Reason("rested", {"rested_s": round(at_s - rest.since_s)})
        reckoned = reckoned_c(rest, at_s)
        if reckoned is None:
            return (rested,)
        figures = {"middle_c": reckoned[1], "low_c": reckoned[0], "high_c": reckoned[2]}
        return (rested, Reason("reckoned", figures))

    def reading(self, now_s: float) -> None:
        """A believed reading came: it ends a silent rest, and one that never fell silent."""
        if self.rest is None:
            return
        if self.rest.silent:
            self._end(now_s)
        elif now_s - self.rest.since_s > STILL_ON_S:
            self.rest = None

    def take_back(self) -> bool:
        """The mark was taken back: silence was not meant; return whether it is silent."""
        silent = self.silent
        self.rest, self._looks = None, []
        return silent

    def _end(self, now_s: float) -> None:
        assert self.rest is not None
        self.done = (*self.done, replace(self.rest, until_s=now_s))[-KEPT_RESTS:]
        self.rest, self._looks = None, []
