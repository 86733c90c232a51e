"""Forecasts to the edge that comes next, and what is worth saying of them."""

from collections.abc import Iterable
from dataclasses import dataclass

from warmwatch.core.alerts import Alerts, why
from warmwatch.core.approach import Approach
from warmwatch.core.band import Place, WindowTracker
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecast, Forecaster, Outlook, Rest
from warmwatch.core.heat import COOLANT_FRESH_S
from warmwatch.core.job import Job
from warmwatch.core.latest import Latest
from warmwatch.core.phase import PhaseTracker


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is known beside the fluid: the latest values and the phase."""

    latest: Latest
    phases: PhaseTracker


class LookAhead:
    """Follows the fluid once a second; without a forecaster it says nothing.

    `forecast` and `outlook` are those of the last second, None and empty after a change of place.
    """

    def __init__(
        self,
        job: Job,
        tracker: WindowTracker,
        around: Surroundings,
        forecaster: Forecaster | None,
    ) -> None:
        self._job = job
        self._tracker = tracker
        self._around = around
        self.forecaster = forecaster
        self._alerts = Alerts(job)
        self._approach = Approach(job)
        self.forecast: Forecast | None = None
        self.outlook: tuple[Outlook, ...] = ()
        self._second = -1

    def lose(self) -> None:
        """Continuity is lost: everything begins anew."""
        self.cross()
        if self.forecaster is not None:
            self.forecaster.restart()

    def cross(self) -> None:
        """The place has changed: what was said was for the place before."""
        self._alerts.rearm()
        self.forecast, self.outlook = None, ()

    def take(self, results: Iterable[Event | Forecast]) -> None:
        """Take what an item has brought to light."""
        for result in results:
            if isinstance(result, Event):
                self._approach.event(result.kind)

    def rest(self) -> Rest | None:
        """Return what the fluid does from the last reading on, with the engine off."""
        return None if self.forecaster is None else self.forecaster.rest()

    def near(self, fluid_c: float | None) -> EventKind | None:
        """Return the announcement that still holds."""
        return self._approach.holds(self._tracker.place, fluid_c, self.forecast)

    def reading(self, now_s: float, fluid_c: float) -> list[Event | Forecast]:
        """Take a believed reading; return a forecast once a second, and what it gives to say."""
        if self.forecaster is None:
            return []
        self._update(self.forecaster, now_s, fluid_c)
        second = int(now_s)
        if second == self._second:
            return []
        self._second = second
        target_c, edge, to = self._next_edge(self.forecaster, fluid_c)
        self.forecast = self.forecaster.to_edge(now_s, target_c, edge, to)
        self.outlook = self.forecaster.outlook(now_s, target_c, edge, to)
        kind = self._alerts.step(now_s, self._tracker.place, fluid_c, self.forecast)
        if kind is None:
            return [self.forecast]
        reasons = why(kind, self.forecast, target_c)
        return [self.forecast, Event(now_s, kind, fluid_c, None, reasons)]

    def _update(self, forecaster: Forecaster, now_s: float, fluid_c: float) -> None:
        latest, phases = self._around.latest, self._around.phases
        forecaster.update(
            now_s,
            fluid_c,
            phase=phases.phase,
            coolant_c=latest.value("coolant_c", now_s, COOLANT_FRESH_S),
            ambient_c=latest.value("ambient_c", now_s, COOLANT_FRESH_S),
            engine_rpm=phases.latest("engine_rpm", now_s),
            speed_kmh=phases.latest("speed_kmh", now_s),
            in_park=phases.latest("in_park", now_s),
        )

    def _next_edge(self, forecaster: Forecaster, fluid_c: float) -> tuple[float, str, str]:
        """Return the edge that comes next: its level, which it is, and what happens there."""
        band, place = self._job.band, self._tracker.likely_place(fluid_c)
        if place is Place.ABOVE:
            return self._tracker.entry_c[1], "high", "enter"
        if place is not Place.INSIDE:
            return self._tracker.entry_c[0], "low", "enter"
        if forecaster.falls():
            return band.low_c, "low", "leave"
        return band.high_c, "high", "leave"
