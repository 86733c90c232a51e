"""What goes into the fold: readings, marks and ticks, each written down before it is used."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Reading:
    """One poll of the link.

    `values` maps quantity names (see units.QUANTITIES) to numbers; `doubts` maps a quantity to the
    reason why the link itself does not believe it (a Reason's text, or words). `raw` keeps the
    bytes as hex text. `elapsed_s` comes from a clock that never runs back, `utc_s` is wall time in
    seconds since 1970 where it is known.
    """

    elapsed_s: float
    values: Mapping[str, float]
    doubts: Mapping[str, str] = field(default_factory=dict)
    raw: str = ""
    utc_s: float | None = None


class MarkName(StrEnum):
    """What the mechanic may say happened."""

    PLUG_OUT = "plug-out"
    DRIP = "drip"
    PLUG_IN = "plug-in"
    TOPPED_UP = "topped-up"
    LEVEL_SET = "level-set"
    STREAM = "stream"
    NO_DRIP = "no-drip"
    DRAINED = "drained"
    FILLED = "filled"
    LET_OUT = "let-out"
    IN_PARK = "in-park"
    SELECTOR_CYCLED = "selector-cycled"
    VEHICLE_LEVEL = "vehicle-level"
    WITHDRAW = "withdraw"
    ACKNOWLEDGE = "acknowledge"
    NOTE = "note"


def mark_of_note(note: str) -> tuple[MarkName, str]:
    """Return the mark that a typed note stands for, and the rest of it.

    A note that begins with the name of a mark is that mark, so that amounts can be typed.

    >>> mark_of_note("drained 4.25 L 85 C")
    (<MarkName.DRAINED: 'drained'>, '4.25 L 85 C')
    >>> mark_of_note("drips a little")
    (<MarkName.NOTE: 'note'>, 'drips a little')
    """
    head, _, rest = note.strip().partition(" ")
    word = head.rstrip(":,").lower()
    if word in set(MarkName) - {MarkName.NOTE, MarkName.ACKNOWLEDGE}:
        return MarkName(word), rest.strip()
    return MarkName.NOTE, note.strip()


@dataclass(frozen=True, slots=True)
class Mark:
    """What the mechanic says happened; `note` is free text."""

    elapsed_s: float
    name: MarkName
    note: str = ""
    utc_s: float | None = None


@dataclass(frozen=True, slots=True)
class Tick:
    """Silence from the link, at the moment when silence alone changes something.

    A non-empty `gap` says that continuity is lost at once, and why: a Reason's text.
    """

    elapsed_s: float
    gap: str = ""
    utc_s: float | None = None


Item = Reading | Mark | Tick
