"""Holds against the brakes and their rests, timed by the readings."""

import csv
from collections.abc import Iterable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.core.alerts import Ceiling
from warmwatch.core.band import Band
from warmwatch.core.events import Event
from warmwatch.core.hold import HoldTimer
from warmwatch.core.job import Job, job_from_mapping
from warmwatch.core.phase import Phase, PhaseTracker

PRACTICE = Path(__file__).parents[2] / "shared" / "practice_ranges.csv"
LOADED, IDLE, DRIVING, OFF = Phase.LOADED, Phase.IDLE, Phase.DRIVING, Phase.OFF


def told(
    plan: Iterable[tuple[Phase, float]], *, every_s: float = 1.0, timer: HoldTimer | None = None
) -> list[Event]:
    """Return what is told over stretches of (phase, seconds)."""
    timer = timer or HoldTimer(5.0, 60.0)
    events, now_s = [], 0.0
    for phase, seconds in plan:
        for _ in range(round(seconds / every_s)):
            events += timer.step(now_s, phase, 70.0)
            now_s += every_s
    return events


def kinds(events: Iterable[Event]) -> list[str]:
    return [str(event.kind) for event in events]


def practice(item: str) -> dict[str, str]:
    with PRACTICE.open(encoding="utf-8", newline="") as file:
        return next(row for row in csv.DictReader(file) if row["item"] == item)


def test_the_defaults_are_common_practice() -> None:
    """The job's limits are those of shared/practice_ranges.csv (common practice, no source)."""
    job = Job(Band(80.0, 90.0))
    assert job.hold_limit_s == float(practice("longest full-throttle hold")["high"])
    assert job.rest_s == float(practice("idle in N (or P) before the next hold")["low"])


def test_the_limit_is_told_once_at_the_reading_that_reaches_it() -> None:
    """A hold of 8 s tells its start, the limit at 5 s, and its end."""
    events = told([(IDLE, 10), (LOADED, 8), (IDLE, 10)])
    assert kinds(events) == ["hold-start", "hold-limit", "hold-end"]
    assert events[1].elapsed_s == 15.0
    assert events[1].text == "held held_s=5 limit_s=5"
    assert events[2].text == "lasted lasted_s=8"


@pytest.mark.parametrize("every_s", [0.1, 0.5, 2.0])
def test_the_limit_comes_with_any_polling(every_s: float) -> None:
    """However often is read, the limit is told by the first reading at or after 5 s."""
    events = told([(LOADED, 12)], every_s=every_s)
    (limit,) = [event for event in events if event.kind == "hold-limit"]
    assert 5.0 <= limit.elapsed_s < 5.0 + every_s + 1e-6


def test_a_rest_ends_after_sixty_seconds_of_idling() -> None:
    """Rest-over comes 60 s after letting go, not before."""
    events = told([(LOADED, 4), (IDLE, 70)])
    assert kinds(events) == ["hold-start", "hold-end", "rest-over"]
    assert events[-1].elapsed_s == pytest.approx(64.0, abs=1.0)


def test_a_hold_before_the_rest_is_over_says_what_was_missing() -> None:
    """The next hold after 20 s of rest is told with what was missing, to a reading: 41 s."""
    events = told([(LOADED, 4), (IDLE, 20), (LOADED, 4), (IDLE, 5)])
    (start,) = [event for event in events[1:] if event.kind == "hold-start"]
    assert start.text == "rest-missing missing_s=41"


@pytest.mark.parametrize(("idled_s", "missing"), [(58.5, ""), (58.0, "rest-missing missing_s=2")])
def test_a_rest_short_by_the_time_of_a_poll_is_not_reproached(idled_s: float, missing: str) -> None:
    """Readings fall a little before or after both moments: 1.5 s of the 60 s are slack (ours)."""
    events = told([(LOADED, 4), (IDLE, idled_s + 0.5), (LOADED, 4)], every_s=0.5)
    starts = [event.text for event in events if event.kind == "hold-start"]
    assert starts == ["keep-clear", missing]


def test_times_of_a_hold_are_told_to_the_tenth() -> None:
    """Polls at odd moments do not put fifteen digits into a recording."""
    events = told([(IDLE, 3), (LOADED, 6.1), (IDLE, 9.3), (LOADED, 4)], every_s=0.1)
    figures = [v for event in events for reason in event.reasons for v in reason.figures.values()]
    assert len(figures) == 4
    assert figures == [round(figure, 1) for figure in figures]
    assert figures == pytest.approx([5.0, 5.0, 6.1, 50.8], abs=0.11)


def test_a_hold_begins_at_one_and_a_half_seconds_and_silence_ends_it_after_ten() -> None:
    """At 1.5 s sharp it is a hold; 10 s without a reading are one hold, 10.1 s are two (ours)."""
    for second_s, kinds_told in ((1.4, []), (1.5, ["hold-start"])):
        timer = HoldTimer(5.0, 60.0)
        assert timer.step(0.0, LOADED, 70.0) == []
        assert kinds(timer.step(second_s, LOADED, 70.0)) == kinds_told
    for silent_s, ended in ((10.0, False), (10.1, True)):
        timer = HoldTimer(60.0, 60.0)
        told([(LOADED, 3)], timer=timer)
        assert ("hold-end" in kinds(timer.step(2.0 + silent_s, LOADED, 70.0))) is ended


def test_a_limit_shorter_than_the_start_is_told_with_it() -> None:
    """A job that allows a second alone hears start and limit at that second."""
    events = told([(LOADED, 2)], every_s=0.5, timer=HoldTimer(1.0, 60.0))
    assert [(str(e.kind), e.elapsed_s) for e in events] == [
        ("hold-start", 1.0),
        ("hold-limit", 1.0),
    ]


@pytest.mark.parametrize("between", [OFF, DRIVING, Phase.UNKNOWN])
def test_only_idling_counts_as_rest(between: Phase) -> None:
    """A stopped engine, a drive and an unknown state rest nothing: the oil must circulate."""
    events = told([(LOADED, 4), (IDLE, 10), (between, 100), (IDLE, 20)])
    assert "rest-over" not in kinds(events)
    events = told([(LOADED, 4), (IDLE, 10), (between, 100), (IDLE, 60)])
    assert kinds(events)[-1] == "rest-over"


def test_a_dip_of_the_engine_speed_does_not_restart_the_limit() -> None:
    """One reading below the threshold within a hold changes nothing: the limit comes at 5 s."""
    events = told([(LOADED, 3), (IDLE, 1), (LOADED, 5), (IDLE, 5)])
    assert kinds(events) == ["hold-start", "hold-limit", "hold-end"]
    assert events[1].elapsed_s == 5.0


def test_a_burst_is_no_hold() -> None:
    """A second of engine speed is told as nothing and asks for no rest."""
    timer = HoldTimer(5.0, 60.0)
    assert told([(IDLE, 5), (LOADED, 1), (IDLE, 5)], timer=timer) == []
    assert timer.rest_left_s(11.0) is None


def test_driving_off_asks_for_no_rest() -> None:
    """A short pull that ends in a drive was no hold to rest from."""
    timer = HoldTimer(5.0, 60.0)
    events = told([(LOADED, 3), (DRIVING, 10)], timer=timer)
    assert kinds(events) == ["hold-start", "hold-end"]
    assert timer.rest_left_s(13.0) is None


def test_silence_ends_a_hold_where_it_was_last_seen() -> None:
    """Readings that stop in a hold leave no endless hold behind, and the rest starts anew."""
    timer = HoldTimer(5.0, 60.0)
    told([(LOADED, 3)], timer=timer)
    events = timer.step(13.0, LOADED, 70.0)
    events += timer.step(15.0, LOADED, 70.0)
    assert kinds(events) == ["hold-end", "hold-start"]
    assert events[0].text == "lasted lasted_s=2; readings-stopped"
    assert events[1].text == "rest-missing missing_s=60"


def test_the_first_hold_says_whom_it_endangers() -> None:
    """Where the act happens the caution is shown, once."""
    events = told([(LOADED, 4), (IDLE, 70), (LOADED, 4)])
    starts = [event.text for event in events if event.kind == "hold-start"]
    assert starts == ["keep-clear", ""]


def test_a_screen_can_show_the_hold_and_the_rest() -> None:
    """While held the time counts up and no rest is shown; afterwards the rest counts down."""
    timer = HoldTimer(5.0, 60.0)
    told([(LOADED, 4)], timer=timer)
    assert timer.held_s(3.5) == 3.5
    assert timer.rest_left_s(3.5) is None
    for second in range(4, 15):
        timer.step(float(second), IDLE, 70.0)
    assert timer.held_s(14.0) is None
    assert timer.rest_left_s(14.0) == pytest.approx(50.0, abs=1.0)


@given(st.lists(st.tuples(st.sampled_from(list(Phase)), st.integers(1, 90)), max_size=12))
def test_starts_and_ends_alternate(plan: list[tuple[Phase, int]]) -> None:
    """Whatever happens, a hold ends before the next begins, and a rest ends at most once."""
    told_kinds = kinds(told([(phase, float(seconds)) for phase, seconds in plan]))
    holding = resting = False
    for kind in told_kinds:
        if kind == "hold-start":
            assert not holding
            holding, resting = True, False
        elif kind == "hold-limit":
            assert holding
        elif kind == "hold-end":
            assert holding
            holding, resting = False, True
        else:
            assert resting
            resting = False


@pytest.mark.parametrize(
    ("more", "rpm", "phase"),
    [
        ({}, 2000.0, LOADED),
        ({}, 1300.0, IDLE),
        ({"load_pct": 70.0}, 1300.0, LOADED),
        ({"throttle_pct": 60.0}, 1200.0, LOADED),
        ({"load_pct": 25.0, "throttle_pct": 15.0}, 1300.0, IDLE),
        ({"load_pct": 90.0}, 800.0, IDLE),
        ({"in_park": 1.0}, 2500.0, IDLE),
        ({"in_park": 0.0}, 2500.0, LOADED),
        ({"speed_kmh": 20.0, "load_pct": 80.0}, 2500.0, DRIVING),
    ],
)
def test_a_hold_is_told_from_speed_load_and_selector(
    more: dict[str, float], rpm: float, phase: Phase
) -> None:
    """Standing and turning fast is a hold, as is load or throttle; in park it turns freely."""
    values = {"engine_rpm": rpm, "speed_kmh": 0.0, **more}
    assert PhaseTracker().step(0.0, values) is phase


def test_a_ceiling_is_told_at_the_second_reading_and_again_after_a_fall() -> None:
    """One odd reading is no alarm; two are; and a real fall arms it anew."""
    ceiling = Ceiling("fluid", 110.0)
    reasons = [ceiling.step(value) for value in (111.0, 108.0, 110.0, 112.0, 106.0, 110.0, 110.5)]
    assert [bool(reason) for reason in reasons] == [False, False, True, False, False, False, True]
    assert str(reasons[2]) == "fluid-too-hot value_c=110 limit_c=110"


def test_a_fault_code_is_no_heat() -> None:
    """What a broken sensor sends (215 degC, not a number) sounds no alarm."""
    ceiling = Ceiling("coolant", 115.0)
    assert [ceiling.step(value) for value in (215.0, 215.0, float("nan"), 215.0)] == [None] * 4


def test_a_ceiling_cannot_be_switched_off() -> None:
    """Neither nonsense nor endlessness is taken for a limit."""
    for name in ("fluid_ceiling_c", "coolant_ceiling_c", "hold_limit_s", "rest_s"):
        for value in (float("inf"), float("nan"), -1.0):
            with pytest.raises(ValueError, match=name):
                job_from_mapping({"band": {"low_c": 80.0, "high_c": 90.0}, name: value})
