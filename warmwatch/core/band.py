"""The band and the window tracker: when the fluid is inside, and when that may be claimed.

The rules:
- Both edges belong to the band.
- Entering is confirmed when every reading since the first crossing is inside for `confirm_s`
  (on-delay), with at least two readings. Crossing and confirmation are both reported.
- Leaving is confirmed when that long after the first crossing more readings were outside than
  inside: noise about an edge must not keep a claim alive. Below the band nothing is claimed, so a
  first reading there needs no confirmation.
- After a window was left at an edge, coming back over that edge needs one quantisation step more
  (deadband), so that a jittering, quantised signal does not chatter. The deadband never widens the
  band: a reading outside it is never counted as inside for longer than the delay.
- No claim survives lost continuity: a gap ends the window at the last good reading, and what
  follows is judged as from the start.
(Delay and deadband as in alarm management, ISA-18.2 and EEMUA 191.)

    place before   confirmed place   event
    unseen         below             -
    unseen         inside            entered
    unseen         above             left-high, without a window: too warm from the start
    below          inside            entered
    below          above             left-high, without a window: crossed between two readings
    inside         below             left-low
    inside         above             left-high
    above          inside            entered
    above          below             left-low, without a window
"""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from warmwatch.core.events import Event, EventKind
from warmwatch.core.reason import Reason


@dataclass(frozen=True, slots=True)
class Band:
    """A temperature range in degC, both edges inclusive; ValueError when it is none."""

    low_c: float
    high_c: float

    def __post_init__(self) -> None:
        if not self.low_c < self.high_c:
            raise ValueError("the lower edge of the band must be below the upper edge")

    def __contains__(self, fluid_c: float) -> bool:
        return self.low_c <= fluid_c <= self.high_c


class Place(StrEnum):
    """Where the fluid is, seen from the band."""

    UNSEEN = "unseen"
    BELOW = "below"
    INSIDE = "inside"
    ABOVE = "above"


_EVENTS: dict[tuple[Place, Place], EventKind] = {
    (Place.UNSEEN, Place.INSIDE): EventKind.ENTERED,
    (Place.UNSEEN, Place.ABOVE): EventKind.LEFT_HIGH,
    (Place.BELOW, Place.INSIDE): EventKind.ENTERED,
    (Place.BELOW, Place.ABOVE): EventKind.LEFT_HIGH,
    (Place.INSIDE, Place.BELOW): EventKind.LEFT_LOW,
    (Place.INSIDE, Place.ABOVE): EventKind.LEFT_HIGH,
    (Place.ABOVE, Place.INSIDE): EventKind.ENTERED,
    (Place.ABOVE, Place.BELOW): EventKind.LEFT_LOW,
}


@dataclass(frozen=True, slots=True)
class Window:
    """One stay inside the band; times in elapsed seconds, `left_s` is None while it lasts.

    `entered_s` and `left_s` are confirmations, the `crossed` times the first readings past the
    edge. `min_c` and `max_c` cover every good reading inside the band between the two crossings;
    `beyond` counts those that jittered over an edge, not long enough to count as having left.
    """

    entered_s: float
    entered_crossed_s: float
    min_c: float
    max_c: float
    left_s: float | None = None
    left_crossed_s: float | None = None
    ended_by: str = ""
    beyond: int = 0


@dataclass(frozen=True, slots=True)
class Crossing:
    """A confirmed change of place; `ended` is the window that ended with it, if one did."""

    kind: EventKind
    crossed_s: float
    ended: Window | None

    def event(self, elapsed_s: float, fluid_c: float) -> Event:
        """Return the event of a crossing that this reading confirms."""
        unseen = self.kind is not EventKind.ENTERED and self.ended is None
        reasons = (Reason("not-seen-inside"),) if unseen else ()
        return Event(elapsed_s, self.kind, fluid_c, self.crossed_s, reasons)


class WindowTracker:
    """Follows one band over good readings.

    >>> tracker = WindowTracker(Band(80, 90), deadband_c=1.0, confirm_s=3.0)
    >>> [crossing.kind for t in range(6) if (crossing := tracker.step(t, 79.0 + t))]
    [<EventKind.ENTERED: 'entered'>]
    """

    def __init__(self, band: Band, *, deadband_c: float, confirm_s: float) -> None:
        self.band = band
        self.place = Place.UNSEEN
        self.window: Window | None = None
        # A band narrower than two deadbands must stay reachable from either side.
        self._deadband_c = min(deadband_c, (band.high_c - band.low_c) / 2)
        self._confirm_s = confirm_s
        self._left_low = False
        self._left_high = False
        self._candidate: Place | None = None
        self._since_s = 0.0
        self._count = 0
        self._beyond = 0
        self._low_c, self._high_c = math.inf, -math.inf

    def step(self, elapsed_s: float, fluid_c: float) -> Crossing | None:
        """Take one good reading; return the change of place that it confirms, if any."""
        zone = self._zone(fluid_c)
        if self.place is Place.UNSEEN and zone is Place.BELOW:
            self.place = zone
        if zone is self.place:
            self._agree(fluid_c)
            return None
        self._consider(zone, elapsed_s, fluid_c)
        if elapsed_s - self._since_s < self._confirm_s:
            return None
        return self._confirm(zone, elapsed_s)

    def likely_place(self, fluid_c: float | None) -> Place:
        """Return the place; while none is confirmed, ABOVE for a fluid above the band."""
        unseen = self.place is Place.UNSEEN
        if unseen and fluid_c is not None and fluid_c > self.band.high_c:
            return Place.ABOVE
        return self.place

    def window_now(self) -> Window | None:
        """Return the open window with the readings whose place is not confirmed yet."""
        if self.window is None or self._candidate is None:
            return self.window
        return self._widened(self.window)

    def lose(self, last_good_s: float, why: str) -> Window | None:
        """Continuity is lost: end and return the open window, and start anew.

        A window that was perhaps being left ends at that crossing: what followed was outside.
        """
        ended = self.window
        if ended is not None:
            left_s = last_good_s if self._candidate is None else self._since_s
            ended = replace(ended, left_s=left_s, left_crossed_s=left_s, ended_by=why)
        self.place, self.window = Place.UNSEEN, None
        self._left_low = self._left_high = False
        self._forget_candidate()
        return ended

    @property
    def entry_c(self) -> tuple[float, float]:
        """The levels between which a fluid outside counts as inside: the band less the deadband."""
        low_c = self.band.low_c + (self._deadband_c if self._left_low else 0.0)
        return low_c, self.band.high_c - (self._deadband_c if self._left_high else 0.0)

    def _zone(self, fluid_c: float) -> Place:
        inside = self.place is Place.INSIDE
        low_c, high_c = (self.band.low_c, self.band.high_c) if inside else self.entry_c
        if fluid_c < low_c:
            return Place.BELOW
        return Place.ABOVE if fluid_c > high_c else Place.INSIDE

    def _consider(self, zone: Place, elapsed_s: float, fluid_c: float) -> None:
        if zone is not self._candidate:
            self._forget_candidate()
            self._candidate, self._since_s = zone, elapsed_s
        self._count += 1
        self._note(fluid_c)

    def _agree(self, fluid_c: float) -> None:
        """Take a reading where the fluid is already; it speaks against the candidate."""
        if self._candidate is None and self.place is not Place.INSIDE:
            return
        self._note(fluid_c)
        self._count -= 1
        if self.place is not Place.INSIDE or self._count < 0:
            if self.window is not None:
                self.window = self._widened(self.window)
            self._forget_candidate()

    def _note(self, fluid_c: float) -> None:
        """Keep the extremes inside the band, and count what lies beyond it."""
        if fluid_c in self.band:
            self._low_c, self._high_c = min(self._low_c, fluid_c), max(self._high_c, fluid_c)
        else:
            self._beyond += 1

    def _forget_candidate(self) -> None:
        self._candidate, self._since_s, self._count, self._beyond = None, 0.0, 0, 0
        self._low_c, self._high_c = math.inf, -math.inf

    def _widened(self, window: Window) -> Window:
        if self._beyond == 0 and window.min_c <= self._low_c and self._high_c <= window.max_c:
            return window
        low_c, high_c = min(window.min_c, self._low_c), max(window.max_c, self._high_c)
        return replace(window, min_c=low_c, max_c=high_c, beyond=window.beyond + self._beyond)

    def _confirm(self, zone: Place, elapsed_s: float) -> Crossing | None:
        kind = _EVENTS.get((self.place, zone))
        crossed_s, ended = self._since_s, self.window
        if ended is not None:
            ended = replace(ended, left_s=elapsed_s, left_crossed_s=crossed_s, ended_by=str(kind))
        self._left_low = kind is EventKind.LEFT_LOW
        self._left_high = kind is EventKind.LEFT_HIGH
        self.place, self.window = zone, None
        if zone is Place.INSIDE:
            low_c, high_c = self._low_c, self._high_c
            self.window = Window(elapsed_s, crossed_s, low_c, high_c, beyond=self._beyond)
        self._forget_candidate()
        return None if kind is None else Crossing(kind, crossed_s, ended)
