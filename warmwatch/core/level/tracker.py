"""Follows the plug and the checks through marks that may be taken back.

So checks are worked out from the marks that stand and from what was seen between them.
"""

from dataclasses import dataclass, field, replace

from warmwatch.core.alarm import Plug
from warmwatch.core.band import Band
from warmwatch.core.level.amounts import mark_entry
from warmwatch.core.level.check import FLUID_MARKS, Check, with_band
from warmwatch.core.level.conditions import Condition, ConditionName, ConditionState, worst
from warmwatch.core.level.drip import FLOWS
from warmwatch.core.level.marks import last_standing
from warmwatch.core.reading import Mark, MarkName

KEPT_CHECKS = 20
KEPT_MARKS = 100
"""So many marks can be taken back; older ones stay as they are."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """What was seen between two marks."""

    min_c: float | None = None
    max_c: float | None = None
    doubtful: int = 0
    lost: bool = False
    conditions: tuple[Condition, ...] = ()


@dataclass(frozen=True, slots=True)
class Marked:
    """A mark with the temperature then, None where it was not known, and what was seen after it."""

    mark: Mark
    fluid_c: float | None
    after: Stretch = field(default_factory=Stretch)
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class PlugState:
    """Where the plug is, and the checks so far; `at_set` is the open one where it was set.

    `changed` is what changed the amount of fluid before there was any check.
    """

    plug: Plug = Plug.UNKNOWN
    out_s: float = 0.0
    open: Check | None = None
    at_set: Check | None = None
    done: tuple[Check, ...] = ()
    drained: bool = False
    changed: tuple[MarkName, ...] = ()

    def told(self, marked: Marked) -> "PlugState":
        """Return the state after a mark and what was seen after it."""
        mark = marked.mark
        before = self._with_change(mark.name) if mark.name in FLUID_MARKS else self
        return before._mark(mark, marked.fluid_c).seen(marked.after)

    def seen(self, after: Stretch) -> "PlugState":
        """Return the state after a stretch without marks."""
        return self if self.open is None else replace(self, open=_followed(self.open, after))

    def _mark(self, mark: Mark, known_c: float | None) -> "PlugState":
        if mark.name is MarkName.PLUG_OUT and self.plug is not Plug.OUT:
            check = Check(
                mark.elapsed_s, known_c, min_c=known_c, max_c=known_c, lost=known_c is None
            )
            return replace(self, plug=Plug.OUT, out_s=mark.elapsed_s, open=check, at_set=None)
        if mark.name is MarkName.PLUG_IN:
            return self._closed(mark, known_c)
        if mark.name is MarkName.LEVEL_SET:
            return self._set(mark)
        if mark.name is MarkName.DRAINED:
            return self._drained(mark)
        if mark.name in FLOWS and self.open is not None:
            return replace(self, open=_flowing(self.open, mark, known_c))
        return self

    def _with_change(self, name: MarkName) -> "PlugState":
        """The amount of fluid was changed: what was set before may not hold any more."""
        if self.at_set is not None:
            return replace(self, at_set=_with_after(self.at_set, name))
        if self.open is None and self.done:
            return replace(self, done=(*self.done[:-1], _with_after(self.done[-1], name)))
        if self.open is None and name not in self.changed:
            return replace(self, changed=(*self.changed, name))
        return self

    def _drained(self, mark: Mark) -> "PlugState":
        """The open plug was for draining, unless something else was told of it already."""
        was_check = self.open is not None and self.open.flow is not None
        if was_check and mark_entry(mark, None) is None:
            return replace(self, drained=True)
        return replace(self, open=None, at_set=None, drained=True)

    def _closed(self, mark: Mark, known_c: float | None) -> "PlugState":
        if self.open is None:
            return replace(self, plug=Plug.IN)
        lost = self.open.lost or known_c is None
        check = replace(self.open, in_s=mark.elapsed_s, in_c=known_c, lost=lost)
        done = (*self.done, check)[-KEPT_CHECKS:]
        return replace(self, plug=Plug.IN, open=None, at_set=None, done=done)

    def _set(self, mark: Mark) -> "PlugState":
        if self.open is not None and self.open.set_s is None:
            check = replace(self.open, set_s=mark.elapsed_s)
            return replace(self, open=check, at_set=check)
        if self.open is None and self.done and self.done[-1].set_s is None:
            check = replace(self.done[-1], set_s=mark.elapsed_s)
            return replace(self, done=(*self.done[:-1], check))
        return self


def _with_after(check: Check, name: MarkName) -> Check:
    return check if name in check.after else replace(check, after=(*check.after, name))


def _followed(check: Check, after: Stretch) -> Check:
    lows = [c for c in (check.min_c, after.min_c) if c is not None]
    highs = [c for c in (check.max_c, after.max_c) if c is not None]
    return replace(
        check,
        min_c=min(lows, default=None),
        max_c=max(highs, default=None),
        doubtful=check.doubtful + after.doubtful,
        lost=check.lost or after.lost,
        conditions=worst(check.conditions, after.conditions),
    )


def _flowing(check: Check, mark: Mark, known_c: float | None) -> Check:
    streamed = check.streamed or mark.name is MarkName.STREAM
    check = replace(check, flow=mark.name, streamed=streamed)
    if mark.name is MarkName.DRIP and check.drip_s is None:
        return replace(check, drip_s=mark.elapsed_s, drip_c=known_c)
    return check


class CheckTracker:
    """Follows the plug and the checks of one recording; the last KEPT_CHECKS are kept."""

    def __init__(self, band: Band) -> None:
        self._band = band
        self._base = self._state = PlugState()
        self._log: list[Marked] = []
        self._now = Stretch()
        self._unmet: set[ConditionName] = set()
        self._unmet_of_s: float | None = None

    @property
    def state(self) -> PlugState:
        """The state as the marks that stand and all readings give it."""
        return self._state.seen(self._now)

    @property
    def plug(self) -> Plug:
        """Where the plug is, as far as the marks say."""
        return self._state.plug

    @property
    def plug_out_s(self) -> float:
        """When it came out last."""
        return self._state.out_s

    @property
    def is_open(self) -> bool:
        """Return whether a check goes on."""
        return self._state.open is not None

    @property
    def drained(self) -> bool:
        """Whether the fluid was drained."""
        return self._state.drained

    @property
    def marks(self) -> tuple[Marked, ...]:
        """The marks that stand, oldest first, each with the temperature then."""
        return tuple(one for one in self._log if not one.withdrawn)

    def checks(self) -> tuple[Check, ...]:
        """Return all checks, oldest first; one still open ends where the level was called set."""
        state = self.state
        now = () if state.open is None else (self._state.at_set or state.open,)
        return tuple(with_band(check, self._band) for check in (*state.done, *now))

    def mark(self, mark: Mark, known_c: float | None) -> Mark | None:
        """Take a mark; return what it took back, if it did. `known_c` is None while blind."""
        self._end_stretch()
        if mark.name is MarkName.WITHDRAW:
            return self._withdraw()
        if len(self._log) == KEPT_MARKS:
            oldest = self._log.pop(0)
            self._base = self._base if oldest.withdrawn else self._base.told(oldest)
        self._log.append(Marked(mark, known_c))
        self._work_out()
        return None

    def _withdraw(self) -> Mark | None:
        index = last_standing([(one.mark, one.withdrawn) for one in self._log])
        if index is None:
            return None
        self._log[index] = replace(self._log[index], withdrawn=True)
        self._work_out()
        return self._log[index].mark

    def _end_stretch(self) -> None:
        """What was seen up to now belongs to the mark before."""
        if self._log:
            last = self._log[-1]
            self._log[-1] = replace(last, after=_joined(last.after, self._now))
        else:
            self._base = self._base.seen(self._now)
        self._now = Stretch()

    def _work_out(self) -> None:
        state = self._base
        for one in self._log:
            state = state.seen(one.after) if one.withdrawn else state.told(one)
        self._state = state

    def fluid(self, fluid_c: float) -> None:
        """Take a believed temperature."""
        low_c, high_c = self._now.min_c, self._now.max_c
        if low_c is None or high_c is None:
            self._now = replace(self._now, min_c=fluid_c, max_c=fluid_c)
        elif not low_c <= fluid_c <= high_c:
            low_c, high_c = min(low_c, fluid_c), max(high_c, fluid_c)
            self._now = replace(self._now, min_c=low_c, max_c=high_c)

    def lose(self) -> None:
        """Continuity is lost."""
        self._now = replace(self._now, lost=True)

    def doubt(self) -> None:
        """A reading was not believed."""
        self._now = replace(self._now, doubtful=self._now.doubtful + 1)

    def see(self, conditions: tuple[Condition, ...]) -> None:
        """Take the conditions as they stand."""
        self._now = replace(self._now, conditions=worst(self._now.conditions, conditions))

    def newly_unmet(self, conditions: tuple[Condition, ...]) -> tuple[Condition, ...]:
        """Return the conditions that are unmet for the first time in the open check."""
        if self._unmet_of_s != self._state.out_s:
            self._unmet_of_s = self._state.out_s
            self._unmet.clear()
        unmet = {c.name: c for c in conditions if c.state is ConditionState.NOT_MET}
        new = tuple(c for name, c in unmet.items() if name not in self._unmet)
        self._unmet |= unmet.keys()
        return new


def _joined(before: Stretch, after: Stretch) -> Stretch:
    lows = [c for c in (before.min_c, after.min_c) if c is not None]
    highs = [c for c in (before.max_c, after.max_c) if c is not None]
    return Stretch(
        min(lows, default=None),
        max(highs, default=None),
        before.doubtful + after.doubtful,
        before.lost or after.lost,
        worst(before.conditions, after.conditions),
    )
