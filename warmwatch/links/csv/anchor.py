"""Times of a foreign file that start again or leap: the file goes on after a gap.

Some loggers begin at zero again in the same file, or have their clock set under way. Read as it
stands, one such leap would cost all that follows.
"""

from collections.abc import Iterator
from dataclasses import replace

from warmwatch.core.job import BLINDEST_S
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Reading

BACK_S = 30.0
"""Times that run back by less are told and not used, until they have caught up."""
AHEAD_S = 86_400.0
ROWS = 3
"""So many rows in a row that run on from each other are a clock, not a slip."""
GAP_S = BLINDEST_S + 1.0
"""How long the gap was nobody knows; it is as long as no watch looks over."""


class Anchor:
    """Puts a gap before the readings that follow a leap; `strays` counts those left out as slips.

    `name` is the file's, `interval_s` the usual time between two of its rows.
    """

    def __init__(self, name: str, interval_s: float | None) -> None:
        self.strays = 0
        self._name = name
        self._ahead_s = max(AHEAD_S, 10.0 * (interval_s or 0.0))
        self._shift_s = 0.0
        self._last_s: float | None = None
        self._off: list[Reading] = []

    def take(self, reading: Reading) -> Iterator[Reading | Notice]:
        """Yield what can be placed in time now that this reading came."""
        if self._follows(reading.elapsed_s):
            self.strays += len(self._off)
            self._off = []
            yield self._placed(reading)
            return
        if self._off and not self._runs_on(reading):
            self.strays += len(self._off)
            self._off = []
        self._off.append(reading)
        if len(self._off) == ROWS:
            yield from self._anchored()

    def end(self) -> None:
        """The file has ended: what is still held was a slip."""
        self.strays += len(self._off)
        self._off = []

    def _follows(self, elapsed_s: float) -> bool:
        if self._last_s is None:
            return True
        step_s = elapsed_s + self._shift_s - self._last_s
        return -BACK_S <= step_s <= self._ahead_s

    def _runs_on(self, reading: Reading) -> bool:
        return 0.0 < reading.elapsed_s - self._off[-1].elapsed_s <= self._ahead_s

    def _anchored(self) -> Iterator[Reading | Notice]:
        off, self._off = self._off, []
        last_s, first_s = self._last_s or 0.0, off[0].elapsed_s
        way = "starts again" if first_s + self._shift_s < last_s else "leaps ahead"
        yield Notice(
            f"The time in {self._name} {way} at {first_s:g} s, after {last_s - self._shift_s:g} s: "
            f"reading goes on from there after a gap of {GAP_S:g} s (its true length is not known)."
        )
        self._shift_s = last_s + GAP_S - first_s
        yield from map(self._placed, off)

    def _placed(self, reading: Reading) -> Reading:
        if self._shift_s:
            elapsed_s = round(reading.elapsed_s + self._shift_s, 6)
            reading = replace(reading, elapsed_s=elapsed_s)
        self._last_s = max(reading.elapsed_s, self._last_s or reading.elapsed_s)
        return reading
