"""Which announcement still holds: the band is near, an edge is near, or the fluid levels off."""

from warmwatch.core.alerts import BRIGHT_CHANCE
from warmwatch.core.band import Place
from warmwatch.core.events import EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job

NEAR_C = 2.0
NEAR_SLACK = 1.5
"""What was told as near stays so until the forecast is so much longer than the lead."""
_SAID = frozenset(
    {
        EventKind.NEARING,
        EventKind.TOP_NEARING,
        EventKind.BOTTOM_NEARING,
        EventKind.LEVELLING_OFF,
    }
)
_ENDS = frozenset(
    {
        EventKind.ENTERED,
        EventKind.LEFT_HIGH,
        EventKind.LEFT_LOW,
        EventKind.BLIND,
        EventKind.SEEING,
    }
)


class Approach:
    """Remembers the last announcement, and whether it still holds."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._said: EventKind | None = None

    def event(self, kind: EventKind) -> None:
        """Take an event."""
        if kind in _SAID:
            self._said = kind
        elif kind in _ENDS:
            self._said = None

    def holds(
        self, place: Place, fluid_c: float | None, forecast: Forecast | None
    ) -> EventKind | None:
        """Return what was announced as far as it is still true."""
        said, job = self._said, self._job
        if said is None or fluid_c is None:
            return None
        if said is EventKind.LEVELLING_OFF:
            dull = forecast is not None and forecast.chance < BRIGHT_CHANCE
            return said if dull and place is not Place.INSIDE else None
        inside = said is not EventKind.NEARING
        if inside is not (place is Place.INSIDE):
            return None
        high = said is EventKind.TOP_NEARING or place is Place.ABOVE
        missing_c = abs((job.band.high_c if high else job.band.low_c) - fluid_c)
        lead_s = job.top_lead_s if inside else job.lead_s
        mid_s = None if forecast is None else forecast.q50_s
        near = missing_c <= NEAR_C or (mid_s is not None and mid_s <= NEAR_SLACK * lead_s)
        return said if near else None
