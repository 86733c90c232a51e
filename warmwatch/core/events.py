"""What the watch notices."""

from dataclasses import dataclass
from enum import StrEnum

from warmwatch.core.reason import Reason, reasons_text


class EventKind(StrEnum):
    """The kinds of event; the words are the machine-readable contract."""

    NEARING = "nearing"
    ENTERED = "entered"
    TOP_NEARING = "top-nearing"
    BOTTOM_NEARING = "bottom-nearing"
    LEFT_HIGH = "left-high"
    LEFT_LOW = "left-low"
    LOOK_AGAIN = "look-again"
    LEVELLING_OFF = "levelling-off"
    BLIND = "blind"
    SEEING = "seeing"
    DOUBTFUL = "doubtful"
    HOLD_START = "hold-start"
    HOLD_LIMIT = "hold-limit"
    HOLD_END = "hold-end"
    REST_OVER = "rest-over"
    TOO_HOT = "too-hot"
    DRAIN_ENTERED = "drain-entered"
    DRAIN_LEFT = "drain-left"
    NOT_FIT = "not-fit"
    FIT = "fit"
    ASKED = "asked"
    NOTED = "noted"


@dataclass(frozen=True, slots=True)
class Event:
    """Something the watch noticed at `elapsed_s`.

    `fluid_c` is the last good temperature (None before the first). For window events `crossed_s` is
    the first reading past the edge and `elapsed_s` the confirmation. For `entered` and `fit`,
    `fit` says whether the level may be checked; None says that a condition is not known. `reasons`
    hold why.
    """

    elapsed_s: float
    kind: EventKind
    fluid_c: float | None = None
    crossed_s: float | None = None
    reasons: tuple[Reason, ...] = ()
    fit: bool | None = None

    @property
    def text(self) -> str:
        """The reasons as a recording keeps them."""
        return reasons_text(self.reasons)
