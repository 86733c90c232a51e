"""Silence that is meant: nothing insists, and what has cooled is only reckoned."""

import itertools
import math

import pytest

from warmwatch.core.alarm import AlarmCode
from warmwatch.core.band import Band
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.rest import AGAIN_S, MOST_LOOKS, TAU_S, Rest, cooling_s, reckoned_c
from warmwatch.core.watch import Watch

LOW = Job(Band(35.0, 45.0))
OFF = {"engine_rpm": 0.0, "speed_kmh": 0.0}


def run(watch: Watch, *items: Item) -> list[Event]:
    return [r for item in items for r in watch.step(item) if isinstance(r, Event)]


def hot(watch: Watch, from_s: float = 0.0, fluid_c: float = 90.0) -> None:
    run(watch, *(Reading(from_s + t, {"fluid_c": fluid_c, **OFF}) for t in range(10)))


def resting(job: Job = LOW, *, ahead: bool = False) -> Watch:
    """Return a watch that rests at 90 °C since 10 s, silent since 15 s."""
    watch = Watch(job, ahead=ahead)
    hot(watch)
    assert run(watch, Mark(10.0, MarkName.RESTING), Tick(15.0)) == []
    return watch


def test_nothing_insists_while_silence_is_meant() -> None:
    """No `blind`, no alarm, no gap; nothing is claimed of the band either."""
    watch = resting()
    snapshot = watch.snapshot()
    assert snapshot.rest is not None
    assert snapshot.rest.last_c == 90.0
    assert (snapshot.blind, snapshot.gaps, watch.alarm.standing) == (True, 0, ())


def test_readings_that_return_are_seeing() -> None:
    """The rest ends with the first believed reading, and stands among those that ended."""
    watch = resting()
    events = run(watch, Reading(2000.0, {"fluid_c": 50.0, **OFF}))
    assert [e.kind for e in events if e.kind is not EventKind.LOOK_AGAIN] == [EventKind.SEEING]
    snapshot = watch.snapshot()
    assert snapshot.rest is None
    assert [(r.since_s, r.until_s) for r in snapshot.rests] == [(10.0, 2000.0)]
    assert not snapshot.blind


def test_what_it_has_cooled_to_is_reckoned_by_newtons_law() -> None:
    """After one time constant 1/e of the distance to the air is left (closed form), in a range."""
    rest = resting().snapshot().rest
    assert rest is not None
    assert rest.last_s is not None
    found = reckoned_c(rest, rest.last_s + TAU_S[1])
    assert found is not None
    low, middle, high = found
    assert middle == pytest.approx(20.0 + 70.0 / math.e, abs=0.1)
    assert low < middle < high
    assert reckoned_c(rest, rest.last_s) == (90.0, 90.0, 90.0)


def test_look_again_comes_when_it_has_probably_cooled_to_the_band() -> None:
    """At the due time itself, with what is reckoned; a few times, and then no more."""
    watch = resting()
    due_s = watch.due_s
    assert due_s == pytest.approx(9.0 + TAU_S[1] * math.log(70.0 / 25.0), abs=1.0)
    assert run(watch, Tick(due_s - 1.0)) == []
    (event,) = run(watch, Tick(due_s + 0.4))
    assert (event.kind, event.elapsed_s) == (EventKind.LOOK_AGAIN, due_s)
    rested, reckoned = event.reasons
    assert rested.figures["rested_s"] == round(due_s - 10.0)
    assert reckoned.figures["middle_c"] == pytest.approx(45.0, abs=0.2)
    later = run(watch, *(Tick(due_s + AGAIN_S * n) for n in range(1, 40)))
    assert len(later) == MOST_LOOKS - 1
    assert watch.due_s == math.inf


def test_the_same_whether_a_tick_or_the_next_reading_brings_it_to_light() -> None:
    """`look-again` is stamped with its due time when the readings return before any tick."""
    watch = resting()
    due_s = watch.due_s
    events = run(watch, Reading(due_s + 100.0, {"fluid_c": 44.0, **OFF}))
    assert [(e.kind, e.elapsed_s) for e in events[:2]] == [
        (EventKind.LOOK_AGAIN, due_s),
        (EventKind.SEEING, due_s + 100.0),
    ]


@pytest.mark.parametrize("ambient_c", [46.0, 60.0])
def test_a_band_below_the_air_is_never_reckoned_to_be_reached(ambient_c: float) -> None:
    """Then it is worth looking after an hour, whatever the fluid does."""
    watch = Watch(LOW, ahead=False)
    run(watch, *(Reading(float(t), {"fluid_c": 90.0, "ambient_c": ambient_c}) for t in range(10)))
    run(watch, Mark(10.0, MarkName.RESTING), Tick(15.0))
    assert watch.due_s == 9.0 + 3600.0


def test_a_fluid_sensor_that_stops_with_the_ignition_is_silence_too() -> None:
    """Readings that go on without a temperature do not end the rest, nor keep it from beginning."""
    watch = Watch(LOW, ahead=False)
    hot(watch)
    run(watch, Mark(10.0, MarkName.RESTING))
    events = run(watch, *(Reading(10.0 + t, dict(OFF)) for t in range(6000)))
    assert [event.kind for event in events] == [EventKind.LOOK_AGAIN] * 2
    rest = watch.snapshot().rest
    assert rest is not None
    assert (rest.silent, rest.last_c) == (True, 90.0)
    assert watch.alarm.standing == ()


def test_a_rest_is_refused_while_the_plug_is_out() -> None:
    """Asked about, and silence that follows is `blind` as ever."""
    watch = Watch(LOW)
    hot(watch, fluid_c=40.0)
    run(watch, Mark(10.0, MarkName.PLUG_OUT))
    asked, blind = run(watch, Mark(10.5, MarkName.RESTING), Tick(15.0))
    assert (asked.kind, asked.reasons[0].code) == (EventKind.ASKED, "rest-plug-out")
    assert blind.kind is EventKind.BLIND
    assert watch.alarm.stands(AlarmCode.BLIND)


def test_a_rest_that_never_began_does_not_excuse_a_later_loss() -> None:
    """When the readings went on for a minute the ignition stayed on: later silence is a loss."""
    watch = Watch(LOW)
    hot(watch)
    run(watch, Mark(10.0, MarkName.RESTING))
    run(watch, *(Reading(float(t), {"fluid_c": 90.0, **OFF}) for t in range(10, 80)))
    assert watch.snapshot().rest is None
    assert [e.kind for e in run(watch, Tick(90.0))] == [EventKind.BLIND]


def test_a_rest_may_be_told_after_the_signal_was_lost() -> None:
    """Ignition off first, the mark afterwards: what insists is quiet from then on."""
    watch = Watch(LOW)
    hot(watch)
    assert [e.kind for e in run(watch, Tick(20.0))] == [EventKind.BLIND]
    run(watch, Mark(21.0, MarkName.RESTING))
    assert watch.alarm.standing == ()
    assert watch.due_s < math.inf


def test_taken_back_it_is_a_loss_of_signal() -> None:
    """A slip of the finger must not hide that nothing is seen."""
    watch = resting()
    noted, blind = run(watch, Mark(30.0, MarkName.WITHDRAW))
    assert (noted.kind, blind.kind) == (EventKind.NOTED, EventKind.BLIND)
    assert watch.alarm.insists
    assert watch.snapshot().gaps == 1


def test_resting_told_twice_changes_nothing() -> None:
    """The rest goes on as it began: what is known of the air, and when to look, stay."""
    watch = Watch(LOW, ahead=False)
    run(watch, *(Reading(float(t), {"fluid_c": 90.0, "ambient_c": 5.0}) for t in range(10)))
    run(watch, Mark(10.0, MarkName.RESTING), Tick(15.0))
    before, due_s = watch.snapshot().rest, watch.due_s
    run(watch, Mark(500.0, MarkName.RESTING))
    assert watch.snapshot().rest == before
    assert watch.due_s == due_s


def test_a_window_ends_with_the_rest() -> None:
    """What was inside is no longer claimed, and the window says why it ended."""
    watch = Watch(Job(Band(80.0, 95.0)))
    hot(watch)
    run(watch, Mark(10.0, MarkName.RESTING), Tick(15.0))
    (window,) = watch.snapshot().windows
    assert (window.ended_by, window.left_s) == ("resting", 9.0)


def test_a_computer_that_sleeps_during_a_rest_is_no_loss() -> None:
    """A clock that jumps while silence is meant changes nothing but what is due."""
    watch = resting()
    assert run(watch, Tick(100.0, gap="laptop-slept")) == []
    assert watch.alarm.standing == ()
    watch = Watch(LOW)
    hot(watch)
    assert run(watch, Mark(10.0, MarkName.RESTING), Tick(11.0, gap="laptop-slept")) == []
    assert watch.snapshot().rest is not None


def test_doubtful_readings_do_not_end_a_rest() -> None:
    """A sensor's fault code as the ignition goes off is not the signal that came back."""
    watch = resting()
    run(watch, Reading(40.0, {"fluid_c": -40.0}))
    assert watch.snapshot().rest is not None


def test_several_rests_are_kept_and_bounded() -> None:
    """Each ends with its readings; only the latest are kept."""
    watch = Watch(LOW)
    for number in range(50):
        start_s = number * 1000.0
        hot(watch, start_s, 50.0)
        run(watch, Mark(start_s + 10.0, MarkName.RESTING), Tick(start_s + 15.0))
    hot(watch, 50_000.0, 50.0)
    assert len(watch.snapshot().rests) == 20
    assert watch.snapshot().gaps == 0


def test_a_rest_without_any_reading_before_reckons_nothing() -> None:
    """Silence from the start that is meant: nothing is made up."""
    watch = Watch(LOW)
    run(watch, Tick(5.0), Mark(6.0, MarkName.RESTING))
    rest = watch.snapshot().rest
    assert rest is not None
    assert reckoned_c(rest, 1000.0) is None


def test_with_a_forecaster_its_plausible_transmissions_cool() -> None:
    """The middle falls from what was read towards the air, the range widens, the look is ahead."""
    watch = resting(ahead=True)
    rest = watch.snapshot().rest
    assert rest is not None
    found = [reckoned_c(rest, 15.0 + after_s) for after_s in (60.0, 600.0, 3600.0)]
    middles = [each[1] for each in found if each is not None]
    widths = [each[2] - each[0] for each in found if each is not None]
    assert len(middles) == 3
    assert 91.0 >= middles[0] > middles[1] > middles[2] > 15.0
    assert widths == sorted(widths)
    assert 15.0 < watch.due_s < 20_000.0


def test_the_same_rest_gives_the_same_look_again() -> None:
    """What is due is the same live and replayed."""
    assert resting(ahead=True).due_s == resting(ahead=True).due_s


def test_the_look_comes_four_times_a_quarter_of_an_hour_apart() -> None:
    """Into a band below the air it is an hour after the rest began, and then no more than that."""
    watch = resting(Job(Band(-5.0, 5.0)))
    events = run(watch, *(Tick(float(t)) for t in range(20, 12000, 10)))
    looks = [e.elapsed_s for e in events if e.kind is EventKind.LOOK_AGAIN]
    assert [round(b - a) for a, b in itertools.pairwise(looks)] == [900, 900, 900]
    assert looks[0] == pytest.approx(3610.0, abs=10.0)


def at_rest(last_c: float | None, ambient_c: float | None) -> Rest:
    return Rest(0.0, None if last_c is None else 0.0, last_c, ambient_c, silent=True)


@pytest.mark.parametrize("ambient_c", [None, 5.0])
def test_the_range_is_that_of_fast_and_slow_cooling(ambient_c: float | None) -> None:
    """Newton's law with 45, 75 and 120 minutes; air that nobody read is 20 ±10 °C (both ours)."""
    air_c, err_c = (20.0, 10.0) if ambient_c is None else (ambient_c, 0.0)

    def cooled(air_c: float, minutes: float) -> float:
        return air_c + (90.0 - air_c) * math.exp(-30.0 / minutes)

    found = reckoned_c(at_rest(90.0, ambient_c), 1800.0)
    exact = cooled(air_c - err_c, 45.0), cooled(air_c, 75.0), cooled(air_c + err_c, 120.0)
    assert found == pytest.approx(exact, abs=0.051)


@pytest.mark.parametrize(
    ("target_c", "reached"), [(90.0, False), (89.9, True), (21.0, True), (20.5, False)]
)
def test_when_it_has_cooled_is_the_inverse_of_how_far(target_c: float, reached: bool) -> None:
    """A fluid no warmer than the target needs no cooling, and half a degree over the air is never
    reached to the minute (ours).
    """
    rest = at_rest(90.0, 20.0)
    after_s = cooling_s(rest, target_c)
    assert (after_s is not None) is reached
    if after_s is not None:
        found = reckoned_c(rest, after_s)
        assert found is not None
        assert found[1] == pytest.approx(target_c, abs=0.1)
    assert cooling_s(at_rest(None, 20.0), 45.0) is None


def test_a_look_is_an_hour_after_the_last_reading_where_nothing_is_to_cool() -> None:
    """In the band already, below it, or without any reading before."""
    for fluid_c in (30.0, 40.0, 45.0):
        watch = Watch(LOW, ahead=False)
        hot(watch, fluid_c=fluid_c)
        run(watch, Mark(10.0, MarkName.RESTING), Tick(15.0))
        assert watch.due_s == 9.0 + 3600.0
    watch = Watch(LOW, ahead=False)
    run(watch, Tick(5.0), Mark(6.0, MarkName.RESTING))
    assert watch.due_s == 6.0 + 3600.0


def test_the_look_is_never_in_the_past() -> None:
    """Told long after the signal was lost, a rest whose look was due is due a second later."""
    watch = Watch(LOW, ahead=False)
    hot(watch)
    run(watch, Tick(20.0), Mark(30_000.0, MarkName.RESTING))
    assert watch.due_s == 30_001.0


@pytest.mark.parametrize(("last_s", "rests"), [(70, True), (71, False)])
def test_readings_for_more_than_a_minute_cancel_a_rest(last_s: int, rests: bool) -> None:
    """docs/watch.md: if readings go on for a minute after the mark, the rest is cancelled."""
    watch = Watch(LOW)
    hot(watch)
    run(watch, Mark(10.0, MarkName.RESTING))
    run(watch, *(Reading(float(t), {"fluid_c": 90.0, **OFF}) for t in range(10, last_s + 1)))
    assert (watch.snapshot().rest is not None) is rests
