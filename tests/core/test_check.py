"""The level check from plug out to plug in, and what may be claimed for it."""

from collections.abc import Iterable

import pytest

from warmwatch.core.band import Band, Place
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.level.check import Check, Outcome, outcome
from warmwatch.core.level.conditions import ConditionName, ConditionState
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.watch import Watch

BAND = Band(85.0, 95.0)
IDLE = {"engine_rpm": 760.0, "speed_kmh": 0.0}


def read(t: float, fluid_c: float, **values: float) -> Reading:
    return Reading(t, {"fluid_c": fluid_c, **IDLE, **values})


def run(items: Iterable[Item], job: Job | None = None) -> tuple[Watch, list[Event]]:
    watch = Watch(job or Job(BAND))
    events = [r for item in items for r in watch.step(item) if isinstance(r, Event)]
    return watch, events


def story(
    *temps: float, ends: Iterable[MarkName] = (MarkName.PLUG_IN, MarkName.LEVEL_SET)
) -> list[Item]:
    """Return a check: plug out at 5.5 s, one reading a second, and the marks at the end."""
    items: list[Item] = [read(float(t), temps[0]) for t in range(6)]
    items.append(Mark(5.5, MarkName.PLUG_OUT))
    items += [read(6.0 + i, c) for i, c in enumerate(temps)]
    end_s = items[-1].elapsed_s
    return [*items, *(Mark(end_s + 0.1 * (i + 1), name) for i, name in enumerate(ends))]


def result(items: Iterable[Item]) -> Outcome:
    watch, _ = run(items)
    checks = watch.checks
    return outcome(checks[-1] if checks else None, BAND)


def test_a_check_inside_the_band_is_claimed() -> None:
    """Temperatures at plug out and plug in, and the least and greatest between them, are kept."""
    watch, _ = run(story(86.0, 87.0, 88.0))
    check = watch.checks[-1]
    assert (check.out_c, check.in_c, check.min_c, check.max_c) == (86.0, 88.0, 86.0, 88.0)
    assert outcome(check, BAND) is Outcome.SET_INSIDE


@pytest.mark.parametrize("temps", [(84.0, 86.0), (94.0, 96.0, 94.0)])
def test_one_reading_outside_spoils_the_claim(temps: tuple[float, ...]) -> None:
    """Both edges belong to the band, anything beyond does not, however short."""
    assert result(story(*temps)) is Outcome.SET_OUTSIDE
    assert result(story(85.0, 95.0 - 5, 91, 93, 95.0)) is Outcome.SET_INSIDE


def test_without_the_word_that_it_was_set_none_is_claimed() -> None:
    """Plug out and plug in alone are a check, not a set level."""
    assert result(story(86.0, ends=[MarkName.PLUG_IN])) is Outcome.CHECKED_INSIDE
    assert result(story(80.0, ends=[MarkName.PLUG_IN])) is Outcome.CHECKED_OUTSIDE


def test_level_set_may_come_before_or_without_plug_in() -> None:
    """Said with the plug still out, the check ends with plug in, or there when that never comes."""
    before = story(86.0, ends=[MarkName.LEVEL_SET, MarkName.PLUG_IN])
    assert result(before) is Outcome.SET_INSIDE
    alone = [*story(86.0, ends=[MarkName.LEVEL_SET]), *(read(10.0 + t, 86 + t) for t in range(20))]
    assert result(alone) is Outcome.SET_INSIDE


def test_a_gap_while_the_plug_is_out_means_not_known() -> None:
    """No claim survives a loss of the signal, however short it was."""
    items = story(86.0, ends=[])
    items += [Tick(12.5), read(13.0, 86.0), Mark(13.5, MarkName.PLUG_IN)]
    assert result([*items, Mark(14.0, MarkName.LEVEL_SET)]) is Outcome.NOT_KNOWN
    slept = [*story(86.0, ends=[]), Tick(7.0, gap="the laptop slept"), read(8.0, 86.0)]
    assert result([*slept, Mark(9.0, MarkName.LEVEL_SET)]) is Outcome.NOT_KNOWN


def test_a_plug_that_never_went_in_means_not_known() -> None:
    """An open check has no end, so nothing is claimed."""
    assert result(story(86.0, ends=[])) is Outcome.NOT_KNOWN


def test_no_reading_before_plug_out_means_not_known() -> None:
    """A plug taken out blind was taken out blind."""
    items: list[Item] = [Mark(0.5, MarkName.PLUG_OUT), read(1.0, 86.0), Mark(2.0, MarkName.PLUG_IN)]
    assert result(items) is Outcome.NOT_KNOWN


def test_no_mark_is_no_check() -> None:
    """Nothing is inferred from the temperature alone."""
    assert result([read(float(t), 88.0) for t in range(20)]) is Outcome.NO_CHECK


def test_the_last_check_counts() -> None:
    """Low at first, topped up, checked again: both are kept, the second is the outcome."""
    first = story(86.0, 87.0, ends=[MarkName.PLUG_IN])
    later = [read(60.0 + t, 90.0) for t in range(5)]
    second: list[Item] = [
        Mark(65.0, MarkName.PLUG_OUT),
        read(65.5, 90.0),
        Mark(66.0, MarkName.PLUG_IN),
        Mark(66.5, MarkName.LEVEL_SET),
    ]
    watch, _ = run([*first, *(read(8.0 + t, 88.0) for t in range(52)), *later, *second])
    assert [outcome(check, BAND) for check in watch.checks] == [
        Outcome.CHECKED_INSIDE,
        Outcome.SET_INSIDE,
    ]


def test_a_plug_opened_for_draining_is_no_check() -> None:
    """The mark `drained` says what the plug was out for."""
    items = [*story(60.0, ends=[]), Mark(7.0, MarkName.DRAINED, "4 L 60 C")]
    assert result(items) is Outcome.NO_CHECK


def test_flow_and_first_drip_are_kept() -> None:
    """The first drip's temperature stays; the last thing told is the flow."""
    items = story(86.0, 87.0, ends=[])
    items += [Mark(8.0, MarkName.STREAM), read(9.0, 88.0), Mark(9.5, MarkName.DRIP)]
    items += [read(10.0, 89.0), Mark(10.5, MarkName.DRIP), Mark(11.0, MarkName.PLUG_IN)]
    check = run(items)[0].checks[-1]
    assert (check.flow, check.drip_s, check.drip_c) == (MarkName.DRIP, 9.5, 88.0)


def test_an_engine_that_stops_with_the_plug_out_is_told_once() -> None:
    """`not-fit` comes once for each condition, and the condition stays unmet for the check."""
    items = story(86.0, ends=[])
    items += [read(7.0 + t, 86.0, engine_rpm=0.0) for t in range(5)]
    watch, events = run([*items, Mark(12.5, MarkName.PLUG_IN)])
    codes = [r.code for e in events if e.kind is EventKind.NOT_FIT for r in e.reasons]
    assert codes.count("engine-off") == 1
    worst = {str(c.name): c for c in watch.checks[-1].conditions}
    assert worst["engine-idling"].code == 7


def test_not_known_conditions_do_not_nag() -> None:
    """With a bare thermometer no `not-fit` is told: it is not known, and shown as such."""
    items = [
        Reading(i.elapsed_s, {"fluid_c": 86.0}) if isinstance(i, Reading) else i
        for i in story(86.0)
    ]
    assert EventKind.NOT_FIT not in {event.kind for event in run(items)[1]}


def test_the_drain_band_is_followed_until_drained() -> None:
    """Warm enough, left, and after `drained` silent: passing it again on warming says nothing."""
    job = Job(BAND, drain_band=Band(40.0, 60.0))
    up = [read(float(t), 35.0 + t / 4.0) for t in range(60)]
    watch, events = run([*up, Mark(60.0, MarkName.DRAINED)], job)
    kinds = [event.kind for event in events if event.kind.startswith("drain")]
    assert kinds == [EventKind.DRAIN_ENTERED]
    assert watch.snapshot().drain_place is None
    assert watch.snapshot().drain_windows[0].ended_by == "drained"
    again = [read(100.0 + t, 20.0 + t / 2.0) for t in range(100)]
    assert not [
        r
        for i in again
        for r in watch.step(i)
        if isinstance(r, Event) and r.kind.startswith("drain")
    ]


def test_leaving_the_drain_band_is_told() -> None:
    """Above it the fluid is hotter than wanted for draining."""
    job = Job(BAND, drain_band=Band(40.0, 50.0))
    watch, events = run([read(float(t), 35.0 + t / 4.0) for t in range(100)], job)
    kinds = [event.kind for event in events if event.kind.startswith("drain")]
    assert kinds == [EventKind.DRAIN_ENTERED, EventKind.DRAIN_LEFT]
    assert watch.snapshot().drain_place is Place.ABOVE


def test_bounded_however_many_checks() -> None:
    """Only the last twenty checks are kept."""
    watch = Watch(Job(BAND))
    for n in range(50):
        watch.step(read(float(n), 88.0))
        watch.step(Mark(n + 0.2, MarkName.PLUG_OUT))
        watch.step(Mark(n + 0.4, MarkName.PLUG_IN))
    assert len(watch.checks) == 20
    assert outcome(Check(0.0, None), BAND) is Outcome.NOT_KNOWN


@pytest.mark.parametrize("temps", [(86.0, 84.9, 86.0), (94.0, 94.0, 95.1)])
def test_the_bands_condition_agrees_with_the_outcome(temps: tuple[float, ...]) -> None:
    """A reading outside for less than the delay is no exit, yet the check was not inside."""
    watch, _ = run(story(*temps))
    bands = {c.name: c for c in watch.checks[-1].conditions}[ConditionName.FLUID_IN_BAND]
    assert (bands.state, outcome(watch.checks[-1], BAND)) == (
        ConditionState.NOT_MET,
        Outcome.SET_OUTSIDE,
    )


def test_a_check_inside_before_the_entry_was_confirmed_is_inside() -> None:
    """Outcome and condition go by the readings, both."""
    items: list[Item] = [read(float(t), 84.0) for t in range(10)]
    items += [read(10.0, 85.0), Mark(10.1, MarkName.PLUG_OUT), read(11.0, 85.0)]
    watch, _ = run([*items, Mark(11.1, MarkName.PLUG_IN), Mark(11.2, MarkName.LEVEL_SET)])
    bands = {c.name: c for c in watch.checks[-1].conditions}[ConditionName.FLUID_IN_BAND]
    assert (bands.state, outcome(watch.checks[-1], BAND)) == (
        ConditionState.MET,
        Outcome.SET_INSIDE,
    )


def test_a_check_without_a_reading_has_its_conditions() -> None:
    """They are judged at plug in at the latest."""
    items = [read(float(t), 88.0) for t in range(90)]
    watch, _ = run([*items, Mark(89.1, MarkName.PLUG_OUT), Mark(89.2, MarkName.PLUG_IN)])
    states = {str(c.name): c.state for c in watch.checks[-1].conditions}
    assert states["engine-idling"] is ConditionState.MET
    assert states["selector-in-park"] is ConditionState.UNKNOWN


def test_the_drain_window_keeps_to_what_was_inside() -> None:
    """As the window of the check band does: a reading just beyond the edge is only counted."""
    job = Job(BAND, drain_band=Band(40.0, 50.0))
    watch, _ = run([*(read(float(t), 50.0) for t in range(10)), read(10.0, 50.4)], job)
    window = watch.snapshot().drain_windows[-1]
    assert (window.max_c, window.beyond) == (50.0, 1)
