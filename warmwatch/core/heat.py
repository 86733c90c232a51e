"""Too hot: the ceilings of fluid and coolant, and what of them stands now."""

from warmwatch.core.alerts import Ceiling
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.latest import Latest
from warmwatch.core.reading import Reading
from warmwatch.core.reason import Reason

COOLANT_FRESH_S = 30.0


class Heat:
    """Follows fluid and coolant against their ceilings."""

    def __init__(self, job: Job, latest: Latest) -> None:
        self._latest = latest
        self._fluid = Ceiling("fluid", job.fluid_ceiling_c)
        self._coolant = Ceiling("coolant", job.coolant_ceiling_c)

    def reading(
        self, reading: Reading, fluid_c: float | None, shown_c: float | None
    ) -> list[Event]:
        """Take a reading and its believed temperature; return an event for each new heat.

        `shown_c` is the last believed temperature, for the events.
        """
        found = [] if fluid_c is None else [self._fluid.step(fluid_c)]
        if "coolant_c" in reading.values:
            found.append(self._coolant.step(reading.values["coolant_c"]))
        return [
            Event(reading.elapsed_s, EventKind.TOO_HOT, shown_c, reasons=(reason,))
            for reason in found
            if reason is not None
        ]

    def standing(self, now_s: float, *, blind: bool) -> tuple[Reason, ...]:
        """Return what is too hot now, as far as that is still known."""
        fluid = None if blind else self._fluid.hot
        fresh = self._latest.value("coolant_c", now_s, COOLANT_FRESH_S) is not None
        coolant = self._coolant.hot if fresh else None
        return tuple(reason for reason in (fluid, coolant) if reason is not None)
