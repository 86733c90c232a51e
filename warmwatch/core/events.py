"""What the watch notices."""

from dataclasses import dataclass
from enum import StrEnum


class EventKind(StrEnum):
    """The kinds of event; the words are the machine-readable contract."""

    NEARING = "nearing"
    ENTERED = "entered"
    TOP_NEARING = "top-nearing"
    LEFT_HIGH = "left-high"
    LEFT_LOW = "left-low"
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


@dataclass(frozen=True, slots=True)
class Event:
    """Something the watch noticed at `elapsed_s`.

    `fluid_c` is the last good temperature (None before the first). For window events `crossed_s` is
    the first reading past the edge and `elapsed_s` the confirmation. `reason` is plain words.
    """

    elapsed_s: float
    kind: EventKind
    fluid_c: float | None = None
    crossed_s: float | None = None
    reason: str = ""
