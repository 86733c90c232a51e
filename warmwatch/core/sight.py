"""Whether the fluid is seen: since when, why not, and readings whose times lag behind the clock."""

from warmwatch.core.reading import Item, Tick
from warmwatch.core.reason import Reason

MOST_BEHIND = 50
"""So many readings behind the clock in a row are as good as none."""


class Sight:
    """Follows whether believed readings come; `blind` once they have not for the limit."""

    def __init__(self, limit_s: float) -> None:
        self._limit_s = limit_s
        self.blind = False
        self.gaps = 0
        self.good: tuple[float, float] | None = None
        self.why: tuple[Reason, ...] = ()
        self._seen_since_s = 0.0
        self._behind, self._behind_since_s = 0, 0.0

    @property
    def due_s(self) -> float:
        """When silence alone makes it blind."""
        return self._seen_since_s + self._limit_s

    @property
    def fluid_c(self) -> float | None:
        """The last believed temperature, degC."""
        return None if self.good is None else self.good[1]

    @property
    def last_good_s(self) -> float:
        """When the last believed reading came; 0 before the first."""
        return 0.0 if self.good is None else self.good[0]

    def begin(self, now_s: float) -> None:
        """The first reading: a recording need not begin at zero."""
        self._seen_since_s = now_s

    def see(self, now_s: float, fluid_c: float) -> bool:
        """Take a believed reading; return whether it was blind before."""
        was, self.blind = self.blind, False
        self.good, self._seen_since_s, self._behind = (now_s, fluid_c), now_s, 0
        return was

    def lose(self, *why: Reason) -> None:
        """Go blind; without a reason the silence is meant, and is no gap."""
        self.blind = True
        if why:
            self.gaps += 1
            self.why = why

    def falls_silent(self, item: Item) -> tuple[float, Reason] | None:
        """Return when and why an item shows that nothing is seen any more."""
        if self.blind:
            return None
        if isinstance(item, Tick) and item.gap:
            return item.elapsed_s, Reason.parse(item.gap)
        if is_due(self.due_s, item):
            return self.due_s, Reason("silent", {"silent_s": self._limit_s})
        return None

    def behind(self, elapsed_s: float) -> bool:
        """Take a time behind the clock; return whether the clock will not catch up any more."""
        self._behind += 1
        if self._behind == 1:
            self._behind_since_s = elapsed_s
        long = elapsed_s - self._behind_since_s >= self._limit_s
        return not self.blind and (long or self._behind >= MOST_BEHIND)

    def silent(self, now_s: float) -> Reason:
        """Return for how long nothing has been seen."""
        return Reason("silent", {"silent_s": round(now_s - self._seen_since_s)})


def is_due(due_s: float, item: Item) -> bool:
    """Return whether silence has changed something by an item; a reading just then counts."""
    return due_s <= item.elapsed_s if isinstance(item, Tick) else due_s < item.elapsed_s
