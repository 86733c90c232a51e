"""When a forecast or a temperature is worth saying aloud: each alert once an approach.

Levelling off alone is said again when the fluid is seen to end well below what was said.
"""

import math

from warmwatch.core.band import Band, Place
from warmwatch.core.events import EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job
from warmwatch.core.reason import Reason
from warmwatch.core.units import implausible

NEAR_C = 1.0
"""So close to an edge no forecast is needed."""
STEADY_S = 10.0
"""A forecast has to stay below the lead for so long before it is said: the first ones jump."""
TOP_STEADY_S = 5.0
DULL_CHANCE = 0.25
"""Below this chance for DULL_S the fluid is said to level off; above BRIGHT_CHANCE all is well."""
DULL_S = 60.0
BRIGHT_CHANCE = 0.6
LOWER_C = 2.0
"""Levelling off so much farther from the band than was said is worth saying again."""
FAR_LEADS = 2.0
"""With a q90 of more leads than this `nearing` waits: after a change of way nobody knows yet. One
that proved early is forgotten when the band is so many leads away for FAR_S."""
FAR_S = 60.0
LIKELY_CHANCE = 0.4
"""A time that comes with a smaller chance is no reason to walk to the vehicle."""
RELEASE_C = 3.0


class _Held:
    """True once a condition has held without a break for a given time."""

    def __init__(self, needed_s: float) -> None:
        self._needed_s = needed_s
        self._since_s: float | None = None

    def step(self, elapsed_s: float, holds: bool) -> bool:
        if not holds:
            self._since_s = None
            return False
        if self._since_s is None:
            self._since_s = elapsed_s
        return elapsed_s - self._since_s >= self._needed_s


class Alerts:
    """Turns forecasts into `nearing`, `top-nearing`, `bottom-nearing` and `levelling-off`."""

    def __init__(self, job: Job) -> None:
        self._band: Band = job.band
        self._lead_s = job.lead_s
        self._top_lead_s = job.top_lead_s
        self.rearm()

    def rearm(self) -> None:
        """A new approach begins: everything may be said once more."""
        self._said: set[EventKind] = set()
        self._soon = _Held(STEADY_S)
        self._far = _Held(FAR_S)
        self._leaving = {edge: _Held(TOP_STEADY_S) for edge in ("low", "high")}
        self._dull = _Held(DULL_S)
        self._missing_said_c = math.inf

    def step(
        self, elapsed_s: float, place: Place, fluid_c: float, forecast: Forecast
    ) -> EventKind | None:
        """Take the forecast at a reading and return what is worth saying, if anything."""
        if place is Place.INSIDE:
            return self._leave(elapsed_s, fluid_c, forecast)
        if place is Place.UNSEEN:
            return None
        if self._once(EventKind.NEARING, self._band_is_near(elapsed_s, fluid_c, forecast)):
            return EventKind.NEARING
        if self._far.step(elapsed_s, self._band_is_far(fluid_c, forecast)):
            self._said.discard(EventKind.NEARING)
        if forecast.chance >= BRIGHT_CHANCE:
            self._said.discard(EventKind.LEVELLING_OFF)
        return self._levelling(elapsed_s, forecast)

    def _leave(self, elapsed_s: float, fluid_c: float, forecast: Forecast) -> EventKind | None:
        kind = EventKind.TOP_NEARING if forecast.edge == "high" else EventKind.BOTTOM_NEARING
        for edge, held in self._leaving.items():
            holds = edge == forecast.edge and _within(forecast, self._top_lead_s)
            soon = held.step(elapsed_s, holds)
            if soon and edge == forecast.edge:
                return self._once(kind, True)
        close = self._away_c(fluid_c, forecast) <= NEAR_C and _approaches(forecast)
        return self._once(kind, close and not _surely_far(forecast, self._top_lead_s))

    def _levelling(self, elapsed_s: float, forecast: Forecast) -> EventKind | None:
        # A low chance alone may only mean "far"; a level says that the way really ends there.
        level_c = forecast.level_c
        ends = level_c is not None and forecast.chance <= DULL_CHANCE
        if not self._dull.step(elapsed_s, ends) or level_c is None:
            return None
        missing_c = self._away_c(level_c, forecast)
        if missing_c >= self._missing_said_c + LOWER_C:
            self._said.discard(EventKind.LEVELLING_OFF)
        kind = self._once(EventKind.LEVELLING_OFF, True)
        self._missing_said_c = missing_c if kind else self._missing_said_c
        return kind

    def _away_c(self, level_c: float, forecast: Forecast) -> float:
        """Return how far a level lies before the edge of the forecast, K."""
        edge_c = self._band.low_c if forecast.edge == "low" else self._band.high_c
        return level_c - edge_c if forecast.falling else edge_c - level_c

    def _once(self, kind: EventKind, holds: bool) -> EventKind | None:
        if not holds or kind in self._said:
            return None
        self._said.add(kind)
        return kind

    def _band_is_near(self, elapsed_s: float, fluid_c: float, forecast: Forecast) -> bool:
        # A fluid that still warms does not cool into the band, whatever is thought of later.
        comes = not forecast.falling or _approaches(forecast, still=True)
        sure = forecast.q90_s is not None and forecast.q90_s <= FAR_LEADS * self._lead_s
        soon = self._soon.step(elapsed_s, comes and sure and _within(forecast, self._lead_s))
        close = self._away_c(fluid_c, forecast) <= NEAR_C
        close = close and not _surely_far(forecast, self._lead_s)
        # A fluid that has just left the band at the top stands beside it without coming back.
        return soon or (close and _approaches(forecast, still=not forecast.falling))

    def _band_is_far(self, fluid_c: float, forecast: Forecast) -> bool:
        close = self._away_c(fluid_c, forecast) <= 2 * NEAR_C
        return not close and not _within(forecast, FAR_LEADS * self._lead_s)


def _approaches(forecast: Forecast, *, still: bool = False) -> bool:
    """Whether the fluid moves towards the edge; with `still`, or stands."""
    rate = -forecast.rate_c_per_min if forecast.falling else forecast.rate_c_per_min
    return rate > 0 or (still and rate == 0)


def _within(forecast: Forecast, lead_s: float) -> bool:
    likely = forecast.chance >= LIKELY_CHANCE
    return likely and forecast.q50_s is not None and forecast.q50_s <= lead_s


def _surely_far(forecast: Forecast, lead_s: float) -> bool:
    """Whether the edge is minutes away though only a degree: cooling can be so slow."""
    return forecast.q10_s is not None and forecast.q10_s > lead_s


def why(kind: EventKind, forecast: Forecast, target_c: float) -> tuple[Reason, ...]:
    """Return what belongs to an alert: that it comes by cooling, or where the fluid settles."""
    level_c = forecast.level_c
    if kind is EventKind.LEVELLING_OFF and level_c is not None:
        if forecast.falling:
            return (Reason("holds-above", {"level_c": level_c, "edge_c": target_c}),)
        return (Reason("levels-off", {"level_c": level_c}),)
    return (Reason("cooling"),) if kind is EventKind.NEARING and forecast.falling else ()


class Ceiling:
    """Tells once when two readings reached a ceiling; again only after a real fall.

    `hot` is why it is too hot, as long as it is.
    """

    def __init__(self, name: str, limit_c: float) -> None:
        self._name = name
        self._limit_c = limit_c
        self._count = 0
        self.hot: Reason | None = None

    def step(self, value_c: float) -> Reason | None:
        """Take a value in degC; return the reason to be told, or None.

        A value that no sensor in order can send (a fault code) is no heat.
        """
        if implausible(f"{self._name}_c", value_c):
            return None
        if value_c < self._limit_c - RELEASE_C:
            self._count, self.hot = 0, None
        elif value_c >= self._limit_c:
            self._count += 1
            if self._count == 2:
                figures = {"value_c": value_c, "limit_c": self._limit_c}
                self.hot = Reason(f"{self._name}-too-hot", figures)
                return self.hot
        return None
