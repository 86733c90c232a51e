"""What happened so far, as screens need it: the latest entries and what still hangs over them."""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.core.units import from_c
from warmwatch.outputs.base import Entry
from warmwatch.words.forecast import Shown, steady

KEPT = 20
_TENTHS_KEPT = 60
"""Decimals are shown while one of so many last readings had one: figures must stand still."""

_INSISTS = frozenset({EventKind.BLIND, EventKind.TOO_HOT, EventKind.HOLD_LIMIT})
_MATTERS_WITH_PLUG_OUT = frozenset({EventKind.TOP_NEARING, EventKind.LEFT_HIGH, EventKind.LEFT_LOW})
_ENDS: Mapping[EventKind, frozenset[EventKind]] = {
    EventKind.SEEING: frozenset({EventKind.BLIND}),
    EventKind.ENTERED: frozenset({EventKind.LEFT_HIGH, EventKind.LEFT_LOW}),
    EventKind.LEFT_HIGH: frozenset({EventKind.TOP_NEARING}),
    EventKind.LEFT_LOW: frozenset({EventKind.TOP_NEARING}),
    EventKind.HOLD_END: frozenset({EventKind.HOLD_LIMIT}),
}
_APPROACH = frozenset({EventKind.NEARING, EventKind.TOP_NEARING, EventKind.LEVELLING_OFF})
_ENDS_APPROACH = frozenset(
    {
        EventKind.ENTERED,
        EventKind.LEFT_HIGH,
        EventKind.LEFT_LOW,
        EventKind.BLIND,
        EventKind.SEEING,
    }
)


@dataclass(frozen=True, slots=True)
class Told:
    """One line of the list of what happened; a notice has no time of its own."""

    elapsed_s: float | None
    entry: Event | Mark | Notice


@dataclass(frozen=True, slots=True)
class Tale:
    """A frozen Story. `approach` is the last of nearing, top-nearing and levelling-off still true.

    `unheard` names the event that insists on being heard until a mark. `marked` holds the
    elapsed time of the last mark of each name. `tenths` says that readings have decimals,
    `expected` is the forecast held steady for the eye.
    """

    latest: tuple[Told, ...] = ()
    approach: EventKind | None = None
    unheard: EventKind | None = None
    marked: Mapping[MarkName, float] | None = None
    tenths: bool = False
    expected: Shown | None = None


class Story:
    """Collects entries; used by the session's thread only."""

    def __init__(self, unit: str) -> None:
        self._unit = unit
        self._latest: deque[Told] = deque(maxlen=KEPT)
        self._approach: EventKind | None = None
        self._unheard: EventKind | None = None
        self._plug_out = False
        self._marked: dict[MarkName, float] = {}
        self._since_tenths = _TENTHS_KEPT
        self._expected: Shown | None = None

    def take(self, entry: Entry) -> None:
        """Take one entry, in the order they happen."""
        if isinstance(entry, Event):
            self._event(entry)
        elif isinstance(entry, Mark):
            self._mark(entry)
        elif isinstance(entry, Forecast):
            self._expected = steady(self._expected, entry)
        elif isinstance(entry, Notice):
            self._latest.append(Told(None, entry))
        else:
            self._reading(entry)

    def _reading(self, reading: Reading) -> None:
        if "fluid_c" in reading.values:
            shown = from_c(reading.values["fluid_c"], self._unit)
            self._since_tenths = 0 if round(shown, 1) % 1 else self._since_tenths + 1

    def tale(self) -> Tale:
        """Return what a screen on another thread may keep."""
        return Tale(
            latest=tuple(self._latest),
            approach=self._approach,
            unheard=self._unheard,
            marked=dict(self._marked),
            tenths=self._since_tenths < _TENTHS_KEPT,
            expected=self._expected,
        )

    def _event(self, event: Event) -> None:
        self._latest.append(Told(event.elapsed_s, event))
        kind = event.kind
        if kind in _ENDS_APPROACH:
            self._expected = None
        if kind in _APPROACH:
            self._approach = kind
        elif kind in _ENDS_APPROACH:
            self._approach = None
        if kind in _INSISTS or (self._plug_out and kind in _MATTERS_WITH_PLUG_OUT):
            self._unheard = kind
        elif self._unheard in _ENDS.get(kind, ()):
            self._unheard = None

    def _mark(self, mark: Mark) -> None:
        self._latest.append(Told(mark.elapsed_s, mark))
        self._marked[mark.name] = mark.elapsed_s
        self._unheard = None
        if mark.name is MarkName.PLUG_OUT:
            self._plug_out = True
        elif mark.name in (MarkName.PLUG_IN, MarkName.LEVEL_SET):
            self._plug_out = False
