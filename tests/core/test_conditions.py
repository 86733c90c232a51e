"""The check conditions: met only when known, with the open standard's reasons.

Reasons and codes: J1939 SPN 3026, `shared/j1939_level_status.csv`. Times at idle and the rule that
the selector goes through all positions: common practice, no source.
"""

import csv
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from warmwatch.core.band import Band
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.level.conditions import (
    STATUS_UNMET,
    Condition,
    ConditionName,
    ConditionState,
    worst,
)
from warmwatch.core.level.rules import CheckRules, rules_from_mapping, rules_to_mapping
from warmwatch.core.level.statements import measured_tilts
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.core.reason import Reason
from warmwatch.core.watch import Watch
from warmwatch.words.reasons import reason_text

SHARED = Path(__file__).parents[2] / "shared"
IDLE = {"engine_rpm": 760.0, "speed_kmh": 0.0}


def watched(
    values: Mapping[str, float], rules: CheckRules | None = None, *, seconds: int = 120
) -> Watch:
    """Return a watch after some minutes of the same readings at 88 degC, band 85 to 95."""
    watch = Watch(Job(Band(85.0, 95.0), check=rules or CheckRules()))
    for t in range(seconds):
        watch.step(Reading(float(t), {"fluid_c": 88.0, **values}))
    return watch


def condition(watch: Watch, name: str) -> Condition:
    return {str(c.name): c for c in watch.snapshot().conditions}[name]


def say(watch: Watch, name: MarkName, note: str = "") -> None:
    watch.step(Mark(watch.snapshot().elapsed_s, name, note))


def test_reasons_are_those_of_the_open_standard() -> None:
    """Each code that the published enumeration calls not valid has its reason, and no other."""
    with (SHARED / "j1939_level_status.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["spn"] == "3026"]
    invalid = {int(r["code"]): r for r in rows if r["meaning_own_words"].startswith("not valid")}
    assert set(STATUS_UNMET) == set(invalid)
    for code, word in ((1, "settling"), (2, "gear"), (3, "low"), (5, "moves"), (6, "level")):
        assert word in reason_text(Reason(f"level-status-{code}"), "C")
        assert word[:3] in invalid[code]["meaning_own_words"]


def test_everything_known_and_right_is_met() -> None:
    """With all read or told, all conditions are met, and none without its reason's source."""
    watch = watched({**IDLE, "in_park": 1.0}, CheckRules(tilt_deg=0.4, selector_cycled=True))
    assert {c.state for c in watch.snapshot().conditions} == {ConditionState.MET}


def test_nothing_known_is_never_shown_as_met() -> None:
    """From a bare thermometer only the band can be met; the rest is not known."""
    conditions = watched({}).snapshot().conditions
    assert [c.name for c in conditions if c.state is ConditionState.MET] == ["fluid-in-band"]
    assert {c.state for c in conditions if c.name != "fluid-in-band"} == {ConditionState.UNKNOWN}


@pytest.mark.parametrize(
    ("values", "name", "code", "says"),
    [
        ({"engine_rpm": 0.0}, "engine-idling", 7, "engine is off"),
        ({"engine_rpm": 1800.0}, "engine-idling", 8, "too fast"),
        ({"speed_kmh": 20.0}, "vehicle-standing", 5, "moves (20 km/h)"),
        ({"in_park": 0.0}, "selector-in-park", 2, "not in park"),
        ({"oil_level_status": 6.0}, "level-status", 6, "not level"),
    ],
)
def test_what_is_read_wrong_is_not_met(
    values: dict[str, float], name: str, code: int, says: str
) -> None:
    """Each reason carries its code."""
    found = condition(watched({**IDLE, **values}), name)
    assert (found.state, found.code) == (ConditionState.NOT_MET, code)
    assert says in reason_text(found.reason, "C")


@pytest.mark.parametrize(
    ("code", "state"),
    [
        (0, ConditionState.MET),
        (14, ConditionState.UNKNOWN),
        (15, ConditionState.UNKNOWN),
        (11, ConditionState.UNKNOWN),
    ],
)
def test_the_vehicles_own_status_is_taken_at_its_word(code: int, state: ConditionState) -> None:
    """Valid is met; an error, not available and undefined codes are not known."""
    watch = watched({**IDLE, "oil_level_status": float(code)})
    assert condition(watch, "level-status").state is state


def test_values_that_stop_coming_are_not_known() -> None:
    """An engine speed of ten seconds ago says nothing about now."""
    watch = watched(IDLE)
    for t in range(120, 131):
        watch.step(Reading(float(t), {"fluid_c": 88.0}))
    assert condition(watch, "engine-idling").state is ConditionState.UNKNOWN
    assert condition(watch, "vehicle-standing").state is ConditionState.UNKNOWN


def test_temperature_outside_the_band_or_lost() -> None:
    """Too cold and too hot have the standard's codes; a lost signal is not known."""
    watch = Watch(Job(Band(85.0, 95.0)))
    for t in range(10):
        watch.step(Reading(float(t), {"fluid_c": 70.0}))
    assert condition(watch, "fluid-in-band").code == 3
    watch.step(Reading(30.0, {"engine_rpm": 700.0}))
    assert condition(watch, "fluid-in-band").state is ConditionState.UNKNOWN


def test_tilt_is_judged_by_its_amount() -> None:
    """At the limit is level, beyond it is not (code 6); the sign does not matter."""
    for tilt, state in (
        (1.0, ConditionState.MET),
        (-1.0, ConditionState.MET),
        (1.1, ConditionState.NOT_MET),
    ):
        rules = CheckRules(tilt_deg=tilt, tilt_axis="crosswise")
        found = condition(watched(IDLE, rules), "vehicle-level")
        assert found.state is state
        assert "crosswise" in reason_text(found.reason, "C")


def test_driving_takes_back_what_was_told() -> None:
    """After a drive the place, the selector and the cycling have to be told anew."""
    watch = watched(IDLE, CheckRules(tilt_deg=0.2, in_park=True, selector_cycled=True))
    told = ("vehicle-level", "selector-in-park", "selector-cycled")
    assert {condition(watch, name).state for name in told} == {ConditionState.MET}
    for t in range(120, 140):
        watch.step(Reading(float(t), {"fluid_c": 88.0, "engine_rpm": 1500.0, "speed_kmh": 40.0}))
    for t in range(140, 150):
        watch.step(Reading(float(t), {"fluid_c": 88.0, **IDLE}))
    assert {condition(watch, name).state for name in told} == {ConditionState.UNKNOWN}
    say(watch, MarkName.IN_PARK)
    say(watch, MarkName.SELECTOR_CYCLED)
    say(watch, MarkName.VEHICLE_LEVEL, "0,3 degrees")
    assert {condition(watch, name).state for name in told} == {ConditionState.MET}
    assert condition(watch, "vehicle-level").reason.figures["tilt_deg"] == 0.3


def test_level_told_without_a_figure_is_told_as_such() -> None:
    """The mechanic's word counts, and is named as nothing more."""
    watch = watched(IDLE)
    say(watch, MarkName.VEHICLE_LEVEL)
    assert condition(watch, "vehicle-level").reason.code == "level-told-no-figure"


def test_fluid_settles_only_a_while_after_load() -> None:
    """The sump reads behind the converter: for settle_s after load nothing is settled (code 1)."""
    watch = watched({"engine_rpm": 2000.0, "speed_kmh": 0.0})
    for t in range(120, 170):
        watch.step(Reading(float(t), {"fluid_c": 88.0, **IDLE}))
    assert condition(watch, "fluid-settled").code == 1
    for t in range(170, 200):
        watch.step(Reading(float(t), {"fluid_c": 88.0, **IDLE}))
    assert condition(watch, "fluid-settled").state is ConditionState.MET


def test_a_fast_change_is_not_settled() -> None:
    """6 degC/min at idle is beyond the limit of 3, and the rate is shown."""
    watch = Watch(Job(Band(85.0, 95.0)))
    for t in range(90):
        watch.step(Reading(float(t), {"fluid_c": 80.0 + t / 10.0, **IDLE}))
    found = condition(watch, "fluid-settled")
    assert (found.state, found.code) == (ConditionState.NOT_MET, 1)
    assert "+6.0 °C/min" in reason_text(found.reason, "C")


def test_a_rate_is_said_in_the_jobs_unit() -> None:
    """6 K/min are 10.8 °F/min (1 K = 1.8 °F by definition), and no figure of the other unit."""
    watch = Watch(Job(Band(85.0, 95.0), unit="F"))
    for t in range(90):
        watch.step(Reading(float(t), {"fluid_c": 80.0 + t / 10.0, **IDLE}))
    assert "+10.8 °F/min" in reason_text(condition(watch, "fluid-settled").reason, "F")


def test_idling_has_to_last() -> None:
    """60 s at idle by default; a blip of the engine begins it anew."""
    short = condition(watched(IDLE, seconds=50), "idled")
    assert (short.state, short.code) == (ConditionState.NOT_MET, 1)
    watch = watched(IDLE)
    assert condition(watch, "idled").state is ConditionState.MET
    watch.step(Reading(121.0, {"fluid_c": 88.0, "engine_rpm": 2500.0, "speed_kmh": 0.0}))
    watch.step(Reading(122.0, {"fluid_c": 88.0, **IDLE}))
    assert condition(watch, "idled").state is ConditionState.NOT_MET


def test_the_worst_state_is_kept() -> None:
    """Unmet once is unmet for the whole check, and not known comes before met."""
    met, unknown, unmet = (
        Condition(ConditionName.IDLED, state, Reason("idled"))
        for state in (ConditionState.MET, ConditionState.UNKNOWN, ConditionState.NOT_MET)
    )
    assert worst((met,), (unknown,)) == (unknown,)
    assert worst((unknown,), (met,)) == (unknown,)
    assert worst((unknown,), (unmet,)) == worst((unmet,), (met,)) == (unmet,)
    assert worst((), (met,)) == (met,)


def test_the_section_comes_back_from_the_sidecar() -> None:
    """Round trip through JSON."""
    rules = CheckRules(tilt_deg=-0.5, tilt_axis="crosswise", in_park=True, idle_s=120.0)
    assert rules_from_mapping(json.loads(json.dumps(rules_to_mapping(rules)))) == rules


@pytest.mark.parametrize(
    ("section", "named"),
    [
        ({"tilt": 1}, "tilt"),
        ({"tilt_deg": "1"}, "tilt_deg"),
        ({"tilt_deg": 80}, "tilt_deg"),
        ({"tilt_axis": "across"}, "tilt_axis"),
        ({"tilt_axis": 1}, "tilt_axis"),
        ({"in_park": 1}, "in_park"),
        ({"idle_s": 0}, "idle_s"),
        ({"tilt_limit_deg": -1}, "tilt_limit_deg"),
    ],
)
def test_a_wrong_section_is_named(section: dict[str, Any], named: str) -> None:
    """Each mistake is told by its key."""
    with pytest.raises(ValueError, match=named):
        rules_from_mapping(section)


@pytest.mark.parametrize(
    ("note", "tilts"),
    [
        ("0,3 degrees", {"tilt": 0.3}),
        ("-1.5", {"tilt": 1.5}),
        (".4°", {"tilt": 0.4}),
        ("0.3 lengthwise, 1.4 crosswise", {"lengthwise": 0.3, "crosswise": 1.4}),
        ("1.4° lengthwise 0.2° crosswise", {"lengthwise": 1.4, "crosswise": 0.2}),
        ("0.4 at 14:30", {"tilt": 0.4}),
        ("", {}),
    ],
)
def test_each_axis_is_read_from_a_note(note: str, tilts: dict[str, float]) -> None:
    """Figures with an axis count by axis; without any, the first figure does."""
    assert measured_tilts(note) == tilts


def test_of_two_axes_the_worse_counts_and_both_are_shown() -> None:
    """A vehicle that is level along but not across is not level, however it was told."""
    watch = watched(IDLE)
    say(watch, MarkName.VEHICLE_LEVEL, "0.3 lengthwise")
    found = condition(watch, "vehicle-level")
    assert (found.state, found.reason.code) == (ConditionState.MET, "tilt-measured")
    assert reason_text(found.reason, "C") == "measured 0.3° lengthwise only, limit 1°"
    say(watch, MarkName.VEHICLE_LEVEL, "1.4 crosswise")
    found = condition(watch, "vehicle-level")
    assert (found.state, found.code) == (ConditionState.NOT_MET, 6)
    assert "0.3° lengthwise, 1.4° crosswise" in reason_text(found.reason, "C")


def test_reading_another_gear_takes_back_what_was_told_of_park() -> None:
    """When the reading is lost afterwards, the old word must not be shown as met."""
    watch = watched(IDLE)
    say(watch, MarkName.IN_PARK)
    assert condition(watch, "selector-in-park").state is ConditionState.MET
    watch.step(Reading(120.0, {"fluid_c": 88.0, **IDLE, "in_park": 0.0}))
    for t in range(121, 140):
        watch.step(Reading(float(t), {"fluid_c": 88.0, **IDLE}))
    assert condition(watch, "selector-in-park").state is ConditionState.UNKNOWN


def test_fit_is_said_once_nothing_forbids_the_check_any_more() -> None:
    """In the band with the engine off: not fit; after a minute at idle `fit` comes, once."""
    watch = Watch(Job(Band(85.0, 95.0)))
    said = []
    for t in range(300):
        rpm = 0.0 if t < 30 else 760.0
        values = {"fluid_c": 88.0, "engine_rpm": rpm, "speed_kmh": 0.0}
        said += [
            (t, str(result.kind))
            for result in watch.step(Reading(float(t), values))
            if isinstance(result, Event) and result.kind in (EventKind.ENTERED, EventKind.FIT)
        ]
    assert said == [(3, "entered"), (90, "fit")]
