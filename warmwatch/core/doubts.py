"""Which doubts are told: the same one seldom; every doubtful reading is counted and kept."""

from warmwatch.core.events import Event, EventKind
from warmwatch.core.reason import Reason

QUIET_S = 60.0
"""The same doubt is told at most so often."""
KEPT = 100


class Doubts:
    """Remembers which doubts were told, and when."""

    def __init__(self) -> None:
        self._told: dict[str, float] = {}

    def events(
        self, now_s: float, reason: Reason, fluid_c: float | None, *, blind: bool
    ) -> list[Event]:
        """Return the event of a doubt that is to be told; none for one that was told lately."""
        told = self.is_news(now_s, reason, blind=blind)
        return [Event(now_s, EventKind.DOUBTFUL, fluid_c, reasons=(reason,))] if told else []

    def is_news(self, now_s: float, reason: Reason, *, blind: bool) -> bool:
        """Return whether a doubt is to be told; while blind each only once."""
        cause = "".join(char for char in reason.code if char.isalpha())  # not a link's figures
        told_s = self._told.get(cause)
        if told_s is not None and (blind or now_s - told_s < QUIET_S):
            return False
        if len(self._told) > KEPT:
            self._told.clear()
        self._told[cause] = now_s
        return True

    def forget(self) -> None:
        """Readings are back: each doubt is news again."""
        self._told.clear()
