"""Which marks stand, and what is asked about a mark that does not fit."""

from collections.abc import Sequence

from warmwatch.core.alarm import Plug
from warmwatch.core.level.amounts import is_amount, is_too_large, mark_entry
from warmwatch.core.level.check import Check
from warmwatch.core.level.drip import FLOWS
from warmwatch.core.reading import Mark, MarkName
from warmwatch.core.reason import Reason

_NEVER_TAKEN_BACK = (MarkName.ACKNOWLEDGE, MarkName.WITHDRAW)


def last_standing(marks: Sequence[tuple[Mark, bool]]) -> int | None:
    """Return the index of the mark that `withdraw` takes back, None when there is none.

    `marks` are pairs of a mark and whether it was taken back already.
    """
    for index in range(len(marks) - 1, -1, -1):
        mark, withdrawn = marks[index]
        if not withdrawn and mark.name not in _NEVER_TAKEN_BACK:
            return index
    return None


def taken_back(marks: Sequence[Mark]) -> list[bool]:
    """Return for each mark whether a later one took it back; those that do so never are.

    >>> taken_back([Mark(1.0, MarkName.DRIP), Mark(2.0, MarkName.WITHDRAW)])
    [True, False]
    """
    pairs: list[tuple[Mark, bool]] = []
    for mark in marks:
        index = last_standing(pairs) if mark.name is MarkName.WITHDRAW else None
        if index is not None:
            pairs[index] = (pairs[index][0], True)
        pairs.append((mark, False))
    return [withdrawn for _, withdrawn in pairs]


def standing_marks(marks: Sequence[Mark]) -> list[Mark]:
    """Return the marks that were not taken back, without those that took others back.

    >>> drip, back = Mark(1.0, MarkName.DRIP), Mark(2.0, MarkName.WITHDRAW)
    >>> standing_marks([drip, back])
    []
    """
    pairs = zip(marks, taken_back(marks), strict=True)
    return [mark for mark, gone in pairs if not gone and mark.name is not MarkName.WITHDRAW]


def question(
    mark: Mark,
    plug: Plug,
    plug_out_s: float,
    *,
    last: Check | None,
    blind: bool,
    capacity_l: float | None = None,
) -> Reason | None:
    """Return why a mark does not fit, None when it does.

    `plug` is where it was before the mark, `last` the last check; `capacity_l` is all the fluid.
    """
    out = plug is Plug.OUT
    if mark.name is MarkName.PLUG_OUT and out:
        return Reason("plug-out-twice", {"since_s": plug_out_s})
    if mark.name is MarkName.PLUG_OUT and blind:
        return Reason("plug-out-blind")
    if mark.name is MarkName.PLUG_IN and not out:
        return Reason("plug-in-twice" if plug is Plug.IN else "no-plug-out")
    if mark.name in FLOWS and not out:
        return Reason("no-plug-out")
    if mark.name is MarkName.LEVEL_SET:
        return _question_of_set(last, out=out)
    if mark.name is MarkName.RESTING and out:
        return Reason("rest-plug-out")
    return _question_of_amount(mark, capacity_l) if is_amount(mark) else None


def _question_of_set(last: Check | None, *, out: bool) -> Reason | None:
    if out or last is None:
        return Reason("close-then-plug-in" if out else "no-check")
    if last.flow in (MarkName.STREAM, MarkName.NO_DRIP):
        return Reason(f"set-after-{last.flow}")
    return None


def _question_of_amount(mark: Mark, capacity_l: float | None) -> Reason | None:
    entry = mark_entry(mark, None)
    if entry is None:
        return Reason("no-amount")
    return Reason("amount-too-large") if is_too_large(entry.litres, capacity_l) else None
