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
    RESTING = "resting"
    WITHDRAW = "withdraw"
    ACKNOWLEDGE = "acknowledge"
    NOTE = "note"


_WITH_AMOUNT = (MarkName.DRAINED, MarkName.FILLED, MarkName.LET_OUT, MarkName.TOPPED_UP)
_NEVER_TYPED = (MarkName.NOTE, MarkName.ACKNOWLEDGE)


def mark_of_note(note: str) -> tuple[MarkName, str]:
    """Return the mark that a typed note stands for, and the rest of it.

    The name of a mark alone is that mark; so is one with an amount or a tilt behind it, and nothing
    else: a note may well begin with such a word.

    >>> mark_of_note("drained 4.25 L 85 C")
    (<MarkName.DRAINED: 'drained'>, '4.25 L 85 C')
    >>> mark_of_note("drained more than last time")
    (<MarkName.NOTE: 'note'>, 'drained more than last time')
    """
    head, _, rest = note.strip().partition(" ")
    word, rest = head.rstrip(":,").lower(), rest.strip()
    if word in set(MarkName) - set(_NEVER_TYPED):
        measured = word in (*_WITH_AMOUNT, MarkName.VEHICLE_LEVEL) and rest[:1] in "+-.0123456789"
        if not rest or measured:
            return MarkName(word), rest
    return MarkName.NOTE, note.strip()


@dataclass(frozen=True, slots=True)
class Mark:
    """What the mechanic says happened; `note` is free text.

    `name` may be given as text, such as "plug-out". Raises ValueError for an unknown one.
    """

    elapsed_s: float
    name: MarkName
    note: str = ""
    utc_s: float | None = None

    def __post_init__(self) -> None:
        # The fold asks which member it is; a text that is merely equal would change nothing.
        object.__setattr__(self, "name", MarkName(self.name))


@dataclass(frozen=True, slots=True)
class Tick:
    """Silence from the link, at the moment when silence alone changes something.

    A non-empty `gap` says that continuity is lost at once, and why: a Reason's text.
    """

    elapsed_s: float
    gap: str = ""
    utc_s: float | None = None


Item = Reading | Mark | Tick
