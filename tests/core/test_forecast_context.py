"""What the vehicle does: drives with their halts, holds, and an engine that pulls away."""

import math

import pytest

from warmwatch.core.forecast.context import Context, Slow
from warmwatch.core.phase import Phase


def after(*ways: tuple[Phase, int]) -> tuple[Context, int]:
    """Return the context after so many seconds of each way, and the second it is."""
    context, now_s = Context(), 0
    for way, seconds in ways:
        for _ in range(seconds):
            context.step(float(now_s), way)
            now_s += 1
    return context, now_s


TOWN = ((Phase.DRIVING, 60), (Phase.IDLE, 10), (Phase.LOADED, 1)) * 5
"""At each junction the engine turns faster for a second before the vehicle moves."""


def test_pulling_away_is_no_hold() -> None:
    """Parked after a town drive, nothing of the drive is carried on as holds."""
    context, now_s = after(*TOWN, (Phase.DRIVING, 60), (Phase.IDLE, 100))
    assert not context.in_holds
    assert context.ahead().mix == {Phase.IDLE: 1.0}
    assert now_s - context.way_since_s == 100


def test_pulling_away_belongs_to_the_drive() -> None:
    """The second in which the engine turns faster is one of the drive, the third one is not."""
    pulling, _ = after((Phase.DRIVING, 60), (Phase.IDLE, 10), (Phase.LOADED, 1))
    assert pulling.in_drive
    held, _ = after((Phase.DRIVING, 60), (Phase.IDLE, 10), (Phase.LOADED, 3))
    assert not held.in_drive


def test_a_drive_ends_a_series_of_holds() -> None:
    """Held twice is a series, with its rests; after driving it is none."""
    holds = ((Phase.LOADED, 5), (Phase.IDLE, 60)) * 2
    series, now_s = after(*holds)
    assert series.in_holds
    assert series.way_since_s == 0.0
    assert now_s == 130
    driven, _ = after(*holds, (Phase.DRIVING, 30), (Phase.IDLE, 100))
    assert not driven.in_holds


def test_the_running_means_follow_a_step_by_their_time_constants() -> None:
    """After 60 s at a new value 1/e of the step is left of the short mean, e^-0.1 of the long."""
    slow = Slow()
    for second in range(2000):
        slow.add(float(second), 0.0)
    for second in range(2000, 2060):
        slow.add(float(second), 1.0)
    assert 1.0 - slow.short == pytest.approx(math.exp(-1.0), abs=0.01)
    assert 1.0 - slow.long == pytest.approx(math.exp(-0.1), abs=0.01)


def test_the_running_means_begin_as_plain_means() -> None:
    """Of two values a second apart both means are the middle; one alone is its own mean."""
    slow = Slow()
    slow.add(0.0, 10.0)
    assert (slow.now, slow.short, slow.long) == (10.0, 10.0, 10.0)
    slow.add(1.0, 20.0)
    assert (slow.now, slow.short, slow.long) == (20.0, 15.0, 15.0)


def test_a_value_is_fresh_for_twenty_seconds() -> None:
    """And none is fresh before it came (the figure is ours)."""
    slow = Slow()
    assert not slow.fresh(0.0)
    slow.add(100.0, 1.0)
    assert [slow.fresh(now_s) for now_s in (100.0, 120.0, 120.1)] == [True, True, False]


@pytest.mark.parametrize(("halted_s", "drives"), [(90, True), (91, False)])
def test_a_halt_of_less_than_a_minute_and_a_half_belongs_to_the_drive(
    halted_s: int, drives: bool
) -> None:
    """Longer it is parked, and so it is at once where the selector says so (ours)."""
    context, _ = after((Phase.DRIVING, 60), (Phase.IDLE, halted_s))
    assert context.in_drive is drives
    parked, _ = after((Phase.DRIVING, 60), (Phase.IDLE, 10))
    parked.parked = True
    assert not parked.in_drive
    off, _ = after((Phase.DRIVING, 60), (Phase.OFF, 3))
    assert not off.in_drive


def test_what_is_expected_of_a_halt_fades_into_idling() -> None:
    """Driven 80 of 100 s, then halted: it drives on with that share, less by 1/e in each 25 s."""
    context, _ = after((Phase.DRIVING, 81), (Phase.IDLE, 20))
    usual = context.other(Phase.DRIVING).mix[Phase.DRIVING]
    assert usual == pytest.approx((81.0 + 100.0) / (100.0 + 120.0), abs=0.01)
    ahead = context.ahead().mix
    assert ahead[Phase.DRIVING] == pytest.approx(usual * math.exp(-19.0 / 25.0), abs=0.01)
    assert ahead[Phase.IDLE] == pytest.approx(1.0 - ahead[Phase.DRIVING])
    assert context.driven == pytest.approx(0.81, abs=0.01)
    fresh, _ = after((Phase.IDLE, 20))
    assert fresh.other(Phase.DRIVING).mix[Phase.DRIVING] == pytest.approx(100.0 / 120.0)
    assert (fresh.driven, fresh.held) == (0.0, 0.0)
    assert fresh.other(Phase.LOADED).mix == {Phase.LOADED: 1.0}


@pytest.mark.parametrize(("rests_s", "series"), [(299, True), (300, False)])
def test_a_series_of_holds_is_over_after_five_minutes(rests_s: int, series: bool) -> None:
    """Held twice; the share that was held counts the rests (the figure is ours)."""
    context, now_s = after((Phase.LOADED, 30), (Phase.IDLE, 70), (Phase.LOADED, 30))
    assert context.way_since_s == 0.0
    assert context.held == pytest.approx(60.0 / 130.0, abs=0.02)
    assert context.ahead().mix[Phase.LOADED] == context.held
    for second in range(rests_s):
        context.step(float(now_s + second), Phase.IDLE)
    assert context.in_holds is series
    assert context.way_since_s == (0.0 if series else 130.0)
    once, _ = after((Phase.LOADED, 30), (Phase.IDLE, 70))
    assert not once.in_holds


def test_nothing_is_booked_across_a_hole() -> None:
    """What was not seen was neither driven nor idled."""
    context, _ = after((Phase.DRIVING, 10))
    context.restart()
    context.step(1000.0, Phase.DRIVING)
    assert context.spent_s[Phase.DRIVING] == 9.0
    context.step(1002.0, Phase.DRIVING)
    assert context.spent_s[Phase.DRIVING] == 11.0


def test_revs_are_relative_to_the_warm_idle_and_count_while_idling_alone() -> None:
    """A usual warm idle of 720 1/min until this engine has shown its own (ours)."""
    context = Context()
    context.rpm.add(0.0, 1080.0)
    context.step(0.0, Phase.IDLE)
    assert context.now().revs == 1.5
    for second in range(1, 400):
        context.rpm.add(float(second), 600.0)
        context.step(float(second), Phase.IDLE)
    assert context.now().revs == pytest.approx(1.0, abs=0.02)
    context.rpm.add(400.0, 900.0)
    context.step(400.0, Phase.IDLE)
    assert context.now().revs == pytest.approx(1.5, abs=0.03)
    context.rpm.add(401.0, 9000.0)
    context.step(401.0, Phase.IDLE)
    assert context.now().revs == 3.0
    context.step(402.0, Phase.LOADED)
    assert context.now().revs == 1.0
    context.step(430.0, Phase.IDLE)  # the engine speed is old by now
    assert context.now().revs == 1.0
