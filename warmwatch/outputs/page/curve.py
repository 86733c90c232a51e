"""The last minutes of temperature for the page's small curve."""

from collections import deque

STEP_S = 5.0
KEPT = 480
"""Forty minutes."""


class Curve:
    """Keeps a point every STEP_S; a gap stays a gap, so that no line is drawn over it."""

    def __init__(self) -> None:
        self._points: deque[tuple[float, float | None]] = deque(maxlen=KEPT)

    def add(self, elapsed_s: float, value: float) -> None:
        """Take a good value; what comes sooner than STEP_S after the last is left out."""
        if self._points:
            last_s, last = self._points[-1]
            if elapsed_s < last_s:
                self._points.clear()  # a replay began again
            elif last is not None and elapsed_s - last_s < STEP_S:
                return
        self._points.append((elapsed_s, value))

    def gap(self, elapsed_s: float) -> None:
        """The temperature is not known from `elapsed_s` on."""
        if self._points and self._points[-1][1] is not None:
            self._points.append((elapsed_s, None))

    def points(self) -> list[list[float | None]]:
        """Return `[elapsed_s, value or None]`, oldest first."""
        return [
            [round(elapsed_s), None if value is None else round(value, 1)]
            for elapsed_s, value in self._points
        ]
