"""The sentences of proof, verify, jobs and of the open plug."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.recording.invented import JOB, check_items
from warmwatch.core.band import Band
from warmwatch.core.level.check import Check, Outcome
from warmwatch.core.level.conditions import Condition, ConditionName, ConditionState
from warmwatch.core.level.ledger import Act, Balance, Entry, FluidData, balance
from warmwatch.core.level.verdict import (
    LevelVerdict,
    Sign,
    judge,
    together,
    verdict_from_mapping,
    verdict_to_mapping,
)
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.core.reason import Reason
from warmwatch.core.watch import Watch
from warmwatch.outputs.proof.evidence import signal_text
from warmwatch.outputs.proof.page import CAUTIONS
from warmwatch.words.amounts import balance_text
from warmwatch.words.catalogue import phrase
from warmwatch.words.level import conditions_text, drain_text, plug_texts
from warmwatch.words.verdict import conditions_sentence, verdict_sentence
from warmwatch.words.view import View

BAND = Band(85.0, 95.0)
GOOD = Check(10.0, 86.0, in_s=70.0, in_c=88.0, set_s=75.0, min_c=86.0, max_c=88.0)


@pytest.mark.parametrize(
    ("check", "unit", "says"),
    [
        (
            GOOD,
            "C",
            "fluid at 86 to 88 °C, inside 85 to 95 °C, from plug out to plug in.",
        ),
        (
            replace(GOOD, max_c=86.0),
            "F",
            "Level set with the fluid at 186.8 °F, inside 185 to 203 °F, from plug out to plug in.",
        ),
        (replace(GOOD, in_s=None), "C", "to the mark that the level was set"),
        (replace(GOOD, min_c=84.0), "C", "NOT inside 85 to 95 °C: the fluid was at 84 to 88 °C"),
        (replace(GOOD, set_s=None), "C", "that the level was set was not recorded"),
        (replace(GOOD, set_s=None, max_c=99.0), "C", "NOT inside"),
        (replace(GOOD, lost=True), "C", "cannot be said"),
        (replace(GOOD, lost=True, set_s=None), "C", "the level was checked"),
        (replace(GOOD, max_c=95.04), "C", "the fluid was at 86 to 95.04 °C"),
        (replace(GOOD, min_c=84.98), "F", "the fluid was at 184.96 to 190.4 °F"),
        (replace(GOOD, in_s=None, set_s=None), "C", "not recorded that the plug went in"),
        (replace(GOOD, min_c=None), "C", "no reading while the plug was out"),
        (None, "C", "No level check was recorded"),
    ],
)
def test_the_verdict_is_one_plain_sentence(check: Check | None, unit: str, says: str) -> None:
    """It says that it was so, that it was not, or that it cannot be said and why."""
    text = verdict_sentence(judge([check] if check else [], BAND), BAND, unit)
    assert says in text
    assert text.endswith(".")
    assert text.count(". ") == 0


def test_unknown_conditions_are_named_and_never_counted_as_met() -> None:
    """Unmet first, then what is not known."""

    def told(unmet: int = 0, unknown: int = 0, conditions: int = 2) -> str:
        names = (ConditionName.VEHICLE_LEVEL,) * unmet, (ConditionName.SELECTOR_CYCLED,) * unknown
        verdict = LevelVerdict(Outcome.SET_INSIDE, conditions=conditions)
        return conditions_sentence(replace(verdict, unmet=names[0], unknown=names[1]))

    assert told().startswith("All conditions were met")
    assert told(1, 1, 3) == (
        "Conditions NOT MET: vehicle level. Not known: selector cycled. "
        "The others were met for the whole time with the plug out."
    )
    assert told(1, 1) == "Conditions NOT MET: vehicle level. Not known: selector cycled."
    assert told(0, 1).startswith("Not known: selector cycled.")
    assert told(conditions=0) == "The conditions of the check are not known."


def test_a_check_is_summed_up_with_the_worst_of_its_conditions() -> None:
    """What was unmet or not known in the check is named in the verdict, and there is no tick."""
    met = Condition(ConditionName.IDLED, ConditionState.MET, Reason("idled"))
    unmet = Condition(ConditionName.VEHICLE_LEVEL, ConditionState.NOT_MET, Reason("not-level"))
    good = judge([replace(GOOD, conditions=(met,))], BAND)
    bad = judge([replace(GOOD, conditions=(met, unmet))], BAND)
    assert (good.sign, good.unmet) == (Sign.GOOD, ())
    assert (bad.sign, bad.unmet) == (Sign.REMARK, (ConditionName.VEHICLE_LEVEL,))
    assert judge([GOOD], BAND).sign is Sign.REMARK
    later = judge([], BAND, (MarkName.TOPPED_UP,))
    assert together([good, later]).after == (MarkName.TOPPED_UP,)
    assert together([good, later]).sign is Sign.REMARK
    assert together([bad, good]) == good
    for verdict in (good, bad, later):
        kept = json.loads(json.dumps(verdict_to_mapping(verdict)))
        assert verdict_from_mapping(verdict.outcome, kept) == verdict


def test_the_balance_is_held_against_the_level() -> None:
    """Closed: it fits. Not closed with the level set: low or high before, or misread."""
    closed = balance(
        FluidData(ledger=(Entry(Act.DRAINED, 4.0, 20.0), Entry(Act.FILLED, 4.0, 20.0)))
    )
    assert balance_text(closed, Outcome.SET_INSIDE).endswith("This fits the level.")
    assert "fits" not in balance_text(closed, Outcome.NOT_KNOWN)
    more, less = Balance(4.0, 4.5, 0.5, 0.1, True), Balance(4.0, 3.5, -0.5, 0.1, True)
    assert "had been low before" in balance_text(more, Outcome.SET_INSIDE)
    assert "had been too high before" in balance_text(less, Outcome.SET_INSIDE)
    ran_out = balance_text(more, Outcome.SET_INSIDE, ran_out=True)
    assert "was not measured" in ran_out
    assert "had been low before" not in ran_out
    assert balance_text(less, Outcome.NO_CHECK) == (
        "0.50 L less went in than came out (the reading errors allow ±0.10 L)."
    )
    unread = balance_text(closed, Outcome.SET_INSIDE, ["filled at 17:08"])
    assert unread == "No balance: no amount with its unit could be read from filled at 17:08."
    assert "no balance" in balance_text(balance(FluidData()), Outcome.NO_CHECK)


def test_the_burn_caution_is_the_published_charts() -> None:
    """About 1 s at 68 degC for hot water was seen; nothing from memory stands on the page."""
    with (Path(__file__).parents[2] / "shared" / "burn_thresholds.csv").open(
        encoding="utf-8"
    ) as file:
        rows = [
            r for r in csv.DictReader(file) if r["kind"] == "hot water" and r["temp_low_C"] == "68"
        ]
    assert [(row["contact_s"], row["seen"][:3]) for row in rows] == [("1", "yes")]
    said = "68 °C (154 °F) at which a published chart for hot water gives about one second"
    assert said in phrase("proof.burns")
    assert "ISO 13732" not in " ".join(phrase(f"proof.{code}") for code in CAUTIONS)


def test_a_signal_is_told_with_its_numbers_in_hex() -> None:
    """Service, identifier and addresses as service information writes them."""
    signal = {"name": "fluid_c", "service": 34, "identifier": 10775, "scale": 1.0, "source": "x"}
    assert signal_text(signal) == "service 0x22, identifier 0x2A17, scale 1.0, source x"


def view_of(watch: Watch) -> View:
    return View(watch.job, watch.snapshot(), 0.0, "lines:-", "", "", "")


def test_the_open_plug_is_explained_and_the_closed_one_is_not() -> None:
    """Advice, and what warming alone drips where the capacity is known."""
    job = replace(JOB, fluid=FluidData(capacity_l=8.0), drain_band=Band(50.0, 60.0))
    watch = Watch(job)
    for t in range(90):
        watch.step(Reading(float(t), {"fluid_c": 83.0 + t / 60.0}))
    assert plug_texts(view_of(watch)) == ()
    assert drain_text(view_of(watch)) == "too hot to drain"
    watch.step(Mark(89.5, MarkName.PLUG_OUT))
    watch.step(Mark(89.7, MarkName.STREAM))
    first, second = plug_texts(view_of(watch))
    assert first == "A stream: let it run until it drips."
    assert second == "Warming alone gives 6 mL/min, 126 drops/min."  # 8 L x 7.89e-4 per degC
    watch.step(Reading(120.0, {"engine_rpm": 700.0}))
    assert plug_texts(view_of(watch)) == (
        "The temperature is not known: do not judge the level now.",
    )
    assert drain_text(view_of(watch)) == ""


def test_live_conditions_in_one_line() -> None:
    """Met are counted, the others named."""
    watch = Watch(JOB)
    for item in check_items():
        watch.step(item)
    text = conditions_text(view_of(watch))
    assert text.startswith(
        "Conditions: 3 met; NOT MET: fluid settled, idled long enough; not known"
    )
    assert "vehicle level" in text
