"""The times of a log: seconds since its first frame, that never run back."""

from warmwatch.links.csv.anchor import AHEAD_S, BACK_S, GAP_S, ROWS

WALL_S = 1e9
"""A time above this is seconds since 1970 (2001 and later); others began anywhere."""
LATEST_S = 1e11
"""No time of a frame is later: thousands of years."""


class LogClock:
    """Places frames in time. A clock that was set or began again goes on after a gap of GAP_S.

    `leaps` counts these; `strays` the single frames whose time fits nowhere.
    """

    def __init__(self) -> None:
        self.elapsed_s = 0.0
        self.utc_s: float | None = None
        self.leaps = self.strays = self.backward = 0
        self._origin_s: float | None = None
        self._last_s = 0.0
        self._off: list[float] = []

    def place(self, at_s: float) -> bool:
        """Take a frame's own time; `elapsed_s` is then its place. False when it has none."""
        if not abs(at_s) < LATEST_S:
            self.strays += 1
            return False
        if self._origin_s is None:
            self._origin_s = self._last_s = at_s
        elif not -BACK_S <= at_s - self._last_s <= AHEAD_S:
            if not self._leaps(at_s):
                return False
        else:
            self.strays += len(self._off)
            self._off = []
        self.backward += at_s < self._last_s
        self._last_s = max(self._last_s, at_s)
        self.elapsed_s = max(self.elapsed_s, round(self._last_s - self._origin_s, 6))
        self.utc_s = self._last_s if self._last_s > WALL_S else None
        return True

    def _leaps(self, at_s: float) -> bool:
        """Return whether enough frames agree that the clock itself has leapt."""
        if self._off and not 0.0 <= at_s - self._off[-1] <= BACK_S:
            self.strays += len(self._off)
            self._off = []
        self._off.append(at_s)
        if len(self._off) < ROWS:
            return False
        self._off = []
        self.leaps += 1
        self._origin_s = at_s - self.elapsed_s - GAP_S
        self._last_s = at_s
        return True
