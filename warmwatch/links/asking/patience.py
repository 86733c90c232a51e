"""How long each unit is waited for, learned from how late it answered. No I/O and no clock."""

from collections.abc import Mapping

from warmwatch.core.notice import Notice
from warmwatch.links.asking.request import Request
from warmwatch.links.asking.units import Unit

LONGER_S = 2.0
"""A unit that should answer and does not is waited for once as long as this."""
MOST_S, NEWS_S = 3.0, 0.5
"""The longest wait, and by how much more it must be to be told again."""
ROOM, ROOM_S = 1.5, 0.1
"""A late unit is waited for this many times as long as it took, and this much longer."""


class Patience:
    """The wait for an answer in seconds: `usual_s`, or more for a unit that answered late."""

    def __init__(self, usual_s: float) -> None:
        self.usual_s = usual_s
        self._learned: dict[Unit, float] = {}

    def wait_s(self, request: Request) -> float:
        """Return how long to wait; when everybody is asked, as long as the latest unit takes."""
        waits = [self.usual_s, LONGER_S if request.patient else 0.0]
        if request.unit is None:
            waits += self._learned.values()
        else:
            waits.append(self._learned.get(request.unit, 0.0))
        return max(waits)

    def is_late(self, unit: Unit | None) -> bool:
        """True when this unit (None: any unit) was seen to take longer than usual."""
        return bool(self._learned) if unit is None else unit in self._learned

    def heard(self, took_s: Mapping[Unit, float]) -> list[Notice]:
        """Learn from what units took for an answer; return a notice for each that is news."""
        found = []
        for unit, seconds in took_s.items():
            if seconds > self.usual_s:
                found += self.late(unit, seconds)
        return found

    def late(self, unit: Unit, took_s: float) -> list[Notice]:
        """Wait longer for `unit` from now on; say so where that is news."""
        before_s = self._learned.get(unit, 0.0)
        wait_s = min(MOST_S, took_s * ROOM + ROOM_S)
        self._learned[unit] = max(wait_s, before_s)
        if wait_s < before_s + NEWS_S:
            return []
        return [
            Notice(
                f"{unit.label} answers late, after more than {self.usual_s:g} s: from now on "
                f"warmwatch waits up to {wait_s:.1f} s for it (answer= sets the wait)."
            )
        ]
