"""What insists on being heard: decided here, so that every output says the same.

An alarm stands as long as its cause lasts. It insists until a mark, any mark, shows that it was
heard; with a new reason it insists anew. Loss of signal and a plug that should be closed are
repeated even then, seldom: they must not be forgotten.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from warmwatch.core.reason import Reason


class AlarmCode(StrEnum):
    """The causes, the most urgent first. Those from `left-high` on stand only with the plug out."""

    BLIND = "blind"
    TOO_HOT = "too-hot"
    HOLD_LIMIT = "hold-limit"
    LEFT_HIGH = "left-high"
    LEFT_LOW = "left-low"
    NOT_FIT = "not-fit"
    TOP_NEARING = "top-nearing"
    BOTTOM_NEARING = "bottom-nearing"
    PLUG_OPEN = "plug-open"


class Plug(StrEnum):
    """Where the check plug is, as far as the marks say."""

    OUT = "out"
    IN = "in"
    UNKNOWN = "not-known"


EVERY_S = 8.0
BLIND_EVERY_S = 3.0
REMIND_EVERY_S = 30.0
_REMINDS = (AlarmCode.BLIND, AlarmCode.PLUG_OPEN)
_ORDER = {code: number for number, code in enumerate(AlarmCode)}


@dataclass(frozen=True, slots=True)
class Standing:
    """One alarm that stands since `since_s`, and why; `heard` once a mark came."""

    code: AlarmCode
    since_s: float
    reasons: tuple[Reason, ...] = ()
    heard: bool = False

    @property
    def every_s(self) -> float | None:
        """How often it is to be sounded now; None for no more."""
        if self.heard:
            return REMIND_EVERY_S if self.code in _REMINDS else None
        return BLIND_EVERY_S if self.code is AlarmCode.BLIND else EVERY_S


@dataclass(frozen=True, slots=True)
class Alarm:
    """All that stands, what was not heard first, then the most urgent; and where the plug is."""

    plug: Plug = Plug.UNKNOWN
    plug_out_s: float | None = None
    standing: tuple[Standing, ...] = ()

    @property
    def first(self) -> Standing | None:
        """What insists most, or stands most urgently once all was heard."""
        return self.standing[0] if self.standing else None

    @property
    def insists(self) -> bool:
        """Whether something has not been heard."""
        return bool(self.standing) and not self.standing[0].heard

    def stands(self, code: AlarmCode) -> bool:
        """Return whether an alarm stands, heard or not."""
        return any(one.code is code for one in self.standing)


class AlarmTracker:
    """Follows which causes last, since when, and whether they were heard."""

    def __init__(self) -> None:
        self._standing: dict[AlarmCode, Standing] = {}

    def update(self, now_s: float, causes: Mapping[AlarmCode, tuple[Reason, ...]]) -> None:
        """Take the causes as they are now."""
        if not causes and not self._standing:
            return
        before = self._standing
        self._standing = {
            code: self._next(before.get(code), code, reasons, now_s)
            for code, reasons in causes.items()
        }

    def _next(
        self, old: Standing | None, code: AlarmCode, reasons: tuple[Reason, ...], now_s: float
    ) -> Standing:
        if old is None:
            return Standing(code, now_s, reasons)
        new = {reason.code for reason in reasons} - {reason.code for reason in old.reasons}
        return replace(old, reasons=reasons, heard=old.heard and not new)

    def hear(self) -> None:
        """A mark came: all that stands was heard."""
        self._standing = {c: replace(one, heard=True) for c, one in self._standing.items()}

    def alarm(self, plug: Plug, plug_out_s: float | None) -> Alarm:
        """Return the state now."""
        standing = sorted(self._standing.values(), key=lambda one: (one.heard, _ORDER[one.code]))
        return Alarm(plug, plug_out_s if plug is Plug.OUT else None, tuple(standing))
