"""The verdict on a level check: docs/proof.md, "One sentence on top" and the sign beside it."""

from dataclasses import replace

import pytest

from warmwatch.core.band import Band, Place
from warmwatch.core.level.check import Check, Outcome, with_band
from warmwatch.core.level.conditions import Condition, ConditionName, ConditionState, in_band
from warmwatch.core.level.verdict import (
    LevelVerdict,
    Sign,
    judge,
    together,
    verdict_from_mapping,
    verdict_to_mapping,
)
from warmwatch.core.reading import MarkName
from warmwatch.core.reason import Reason

BAND = Band(80.0, 90.0)
M = MarkName


def condition(name: ConditionName, state: ConditionState) -> Condition:
    return Condition(name, state, Reason("invented"))


MET = condition(ConditionName.IDLED, ConditionState.MET)
UNMET = condition(ConditionName.VEHICLE_STANDING, ConditionState.NOT_MET)
UNKNOWN = condition(ConditionName.SELECTOR_CYCLED, ConditionState.UNKNOWN)
SET = Check(
    10.0, 85.0, in_s=60.0, in_c=86.0, set_s=61.0, min_c=85.0, max_c=86.0,
    flow=M.DRIP, conditions=(MET,),
)  # fmt: skip


@pytest.mark.parametrize(
    ("change", "sign"),
    [
        ({}, Sign.GOOD),
        ({"min_c": 80.0, "max_c": 90.0}, Sign.GOOD),  # both edges belong to the band
        ({"conditions": ()}, Sign.REMARK),
        ({"conditions": (MET, UNMET)}, Sign.REMARK),
        ({"conditions": (MET, UNKNOWN)}, Sign.REMARK),
        ({"flow": M.STREAM}, Sign.REMARK),
        ({"flow": M.NO_DRIP}, Sign.REMARK),
        ({"flow": None}, Sign.GOOD),
        ({"after": (M.TOPPED_UP,)}, Sign.REMARK),
        ({"min_c": 79.9}, Sign.BAD),
        ({"max_c": 90.1}, Sign.BAD),
        ({"max_c": 90.1, "set_s": None}, Sign.BAD),
        ({"set_s": None}, Sign.OPEN),
        ({"lost": True}, Sign.OPEN),
        ({"in_s": None, "set_s": None}, Sign.OPEN),
        ({"min_c": None}, Sign.OPEN),
    ],
)
def test_good_needs_everything_known_met_and_nothing_to_remark(
    change: dict[str, object], sign: Sign
) -> None:
    """The proof never shows an unknown condition as met (docs/proof.md)."""
    assert judge([replace(SET, **change)], BAND).sign is sign  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("change", "until", "why"),
    [
        ({}, M.PLUG_IN, ""),
        ({"in_s": None}, M.LEVEL_SET, ""),
        ({"set_s": None}, M.PLUG_IN, ""),
        ({"in_s": None, "set_s": None}, None, "open"),
        ({"lost": True}, M.PLUG_IN, "lost"),
        ({"max_c": None}, M.PLUG_IN, "no-reading"),
    ],
)
def test_a_verdict_says_what_ended_the_check_and_what_is_missing(
    change: dict[str, object], until: M | None, why: str
) -> None:
    """`plug-in` closes a check; `level-set` ends one that was never closed."""
    found = judge([replace(SET, **change)], BAND)  # type: ignore[arg-type]
    assert (found.until, found.why) == (until, why)


def test_a_verdict_names_the_conditions_by_how_they_stood() -> None:
    """What was unmet and what was not known, and how many there were."""
    found = judge([replace(SET, conditions=(MET, UNMET, UNKNOWN))], BAND)
    assert found.unmet == (ConditionName.VEHICLE_STANDING,)
    assert found.unknown == (ConditionName.SELECTOR_CYCLED,)
    assert found.conditions == 3
    assert (found.low_c, found.high_c, found.is_set, found.flow) == (85.0, 86.0, True, None)


def test_the_last_check_counts_and_what_was_told_of_an_unset_one_is_no_objection() -> None:
    """A stream speaks against a level that is called set, and against nothing else."""
    first, last = replace(SET, max_c=95.0), replace(SET, set_s=None, flow=M.STREAM)
    assert judge([first, last], BAND).outcome is Outcome.CHECKED_INSIDE
    assert judge([first, last], BAND).flow is None
    assert judge([last, replace(SET, flow=M.STREAM)], BAND).flow is M.STREAM
    changed = judge([], BAND, (M.FILLED,))
    assert (changed.outcome, changed.after) == (Outcome.NO_CHECK, (M.FILLED,))


def test_the_recordings_of_a_visit_have_one_verdict() -> None:
    """The last check of all; what was changed in a later recording is remarked, once."""
    good = judge([SET], BAND)
    later = LevelVerdict(Outcome.NO_CHECK, after=(M.TOPPED_UP, M.FILLED))
    assert together([LevelVerdict(Outcome.NO_CHECK), good]) == good
    found = together([good, later, later])
    assert (found.outcome, found.after) == (Outcome.SET_INSIDE, (M.TOPPED_UP, M.FILLED))
    assert together([later, good]) == good
    assert together([]).outcome is Outcome.NO_CHECK


@pytest.mark.parametrize(
    "verdict",
    [
        LevelVerdict(Outcome.NO_CHECK),
        judge([SET], BAND),
        judge([replace(SET, conditions=(MET, UNMET, UNKNOWN), after=(M.FILLED,))], BAND),
        judge([replace(SET, lost=True, flow=M.STREAM)], BAND),
    ],
)
def test_a_verdict_comes_back_from_the_sidecar(verdict: LevelVerdict) -> None:
    """Through JSON values, and what is empty is left out."""
    mapping = verdict_to_mapping(verdict)
    assert verdict_from_mapping(verdict.outcome, mapping) == verdict
    assert all(value for value in mapping.values())
    with pytest.raises(ValueError, match="int"):
        verdict_from_mapping(Outcome.NO_CHECK, {"conditions": []})


@pytest.mark.parametrize(
    ("change", "state", "code"),
    [
        ({}, ConditionState.MET, None),
        ({"min_c": 80.0, "max_c": 90.0}, ConditionState.MET, None),
        ({"min_c": 79.9}, ConditionState.NOT_MET, 3),
        ({"max_c": 90.1}, ConditionState.NOT_MET, 4),
        ({"lost": True}, ConditionState.UNKNOWN, None),
        ({"min_c": None}, ConditionState.UNKNOWN, None),
        ({"max_c": None}, ConditionState.UNKNOWN, None),
    ],
)
def test_the_condition_of_the_band_is_that_of_every_reading(
    change: dict[str, object], state: ConditionState, code: int | None
) -> None:
    """Too low is code 3 and too high code 4 of J1939 SPN 3026; the others stay as they are."""
    check = replace(SET, conditions=(UNMET, in_band(Place.INSIDE)), **change)  # type: ignore[arg-type]
    kept, band = with_band(check, BAND).conditions
    assert (kept, band.state, band.code) == (UNMET, state, code)
