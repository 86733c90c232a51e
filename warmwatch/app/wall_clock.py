"""Notices when the computer's clock is set, or the computer slept, while a watch runs."""

MOVED_S = 2.0
"""A clock that is merely corrected little by little stays far below this."""


class WallClock:
    """Compares wall time with the seconds that went by."""

    def __init__(self) -> None:
        self._ahead_s: float | None = None

    def moved_s(self, elapsed_s: float, utc_s: float) -> float:
        """Return by how many seconds the clock moved since the time before, 0.0 if it did not.

        >>> clock = WallClock()
        >>> [clock.moved_s(*times) for times in ((0.0, 1000.0), (1.0, 1001.1), (2.0, 4602.1))]
        [0.0, 0.0, 3600.0]
        """
        ahead_s, before_s = utc_s - elapsed_s, self._ahead_s
        self._ahead_s = ahead_s
        moved_s = 0.0 if before_s is None else round(ahead_s - before_s, 1)
        return moved_s if abs(moved_s) >= MOVED_S else 0.0
