"""What may be said about a level check, decided once for every screen, list and paper."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from warmwatch.core.band import Band
from warmwatch.core.level.check import Check, Outcome, outcome
from warmwatch.core.level.conditions import ConditionName, ConditionState
from warmwatch.core.reading import MarkName


class Sign(StrEnum):
    """The verdict at a glance.

    GOOD needs the level set inside the band with every condition known and met, and nothing to
    remark. REMARK is set inside, with less than that.
    """

    GOOD = "good"
    REMARK = "remark"
    BAD = "bad"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class LevelVerdict:
    """The last check summed up; temperatures in degC, None where they are not known.

    `until` is the mark that ended it, `why` says of NOT_KNOWN what is missing ("lost", "open",
    "no-reading"). `flow` is what was told of the plug last, where that speaks against a set level;
    `after` are the marks that changed the amount of fluid after the check, or without any check.
    """

    outcome: Outcome
    low_c: float | None = None
    high_c: float | None = None
    is_set: bool = False
    until: MarkName | None = None
    why: str = ""
    unmet: tuple[ConditionName, ...] = ()
    unknown: tuple[ConditionName, ...] = ()
    conditions: int = 0
    flow: MarkName | None = None
    after: tuple[MarkName, ...] = ()

    @property
    def sign(self) -> Sign:
        """What to show beside it."""
        if self.outcome in (Outcome.SET_OUTSIDE, Outcome.CHECKED_OUTSIDE):
            return Sign.BAD
        if self.outcome is not Outcome.SET_INSIDE:
            return Sign.OPEN
        whole = self.conditions and not (self.unmet or self.unknown)
        return Sign.GOOD if whole and not (self.flow or self.after) else Sign.REMARK


NOTHING_CHECKED = LevelVerdict(Outcome.NO_CHECK)


def judge(checks: Sequence[Check], band: Band, changed: tuple[MarkName, ...] = ()) -> LevelVerdict:
    """Return the verdict on the checks of a recording, oldest first: the last one counts.

    `changed` are the marks that changed the amount of fluid while there was no check yet.
    """
    if not checks:
        return LevelVerdict(Outcome.NO_CHECK, after=changed)
    check = checks[-1]
    result, is_set = outcome(check, band), check.set_s is not None
    against = is_set and check.flow in (MarkName.STREAM, MarkName.NO_DRIP)
    return LevelVerdict(
        outcome=result,
        low_c=check.min_c,
        high_c=check.max_c,
        is_set=is_set,
        until=_until(check),
        why=_why(check) if result is Outcome.NOT_KNOWN else "",
        unmet=_named(check, ConditionState.NOT_MET),
        unknown=_named(check, ConditionState.UNKNOWN),
        conditions=len(check.conditions),
        flow=check.flow if against else None,
        after=check.after,
    )


def together(verdicts: Iterable[LevelVerdict]) -> LevelVerdict:
    """Return the verdict on a visit from those on its recordings, oldest first."""
    found = NOTHING_CHECKED
    for verdict in verdicts:
        if verdict.outcome is not Outcome.NO_CHECK:
            found = verdict
        elif verdict.after:
            found = replace(found, after=tuple(dict.fromkeys((*found.after, *verdict.after))))
    return found


def _until(check: Check) -> MarkName | None:
    if check.in_s is not None:
        return MarkName.PLUG_IN
    return None if check.set_s is None else MarkName.LEVEL_SET


def _why(check: Check) -> str:
    if check.lost:
        return "lost"
    return "open" if check.end_s is None else "no-reading"


def _named(check: Check, state: ConditionState) -> tuple[ConditionName, ...]:
    return tuple(c.name for c in check.conditions if c.state is state)


def verdict_to_mapping(verdict: LevelVerdict) -> dict[str, Any]:
    """Return the verdict as JSON values, without what is empty."""
    members = {
        "low_c": verdict.low_c,
        "high_c": verdict.high_c,
        "is_set": verdict.is_set,
        "until": verdict.until,
        "why": verdict.why,
        "unmet": list(verdict.unmet),
        "unknown": list(verdict.unknown),
        "conditions": verdict.conditions,
        "flow": verdict.flow,
        "after": list(verdict.after),
    }
    return {name: value for name, value in members.items() if value not in (None, False, "", [], 0)}


def verdict_from_mapping(result: Outcome, members: Mapping[str, Any]) -> LevelVerdict:
    """Return what `verdict_to_mapping` was given; ValueError when it is no such mapping."""
    try:
        return LevelVerdict(
            outcome=result,
            low_c=_number(members.get("low_c")),
            high_c=_number(members.get("high_c")),
            is_set=bool(members.get("is_set", False)),
            until=_mark(members.get("until")),
            why=str(members.get("why", "")),
            unmet=tuple(map(ConditionName, members.get("unmet", ()))),
            unknown=tuple(map(ConditionName, members.get("unknown", ()))),
            conditions=int(members.get("conditions", 0)),
            flow=_mark(members.get("flow")),
            after=tuple(map(MarkName, members.get("after", ()))),
        )
    except (TypeError, AttributeError, OverflowError) as error:
        raise ValueError(str(error)) from None


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def _mark(value: Any) -> MarkName | None:
    return None if value is None else MarkName(value)
