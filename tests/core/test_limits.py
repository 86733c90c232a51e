"""The limits of the fold, each tried on both sides.

The figures themselves are ours (core/trust.py, core/watch.py say why); what is held here is that
they are kept to the reading.
"""

from typing import Any

import pytest

from warmwatch.core.band import Band, Place
from warmwatch.core.doubts import Doubts
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.job import Job
from warmwatch.core.reading import Reading, Tick
from warmwatch.core.reason import Reason
from warmwatch.core.sight import Sight, is_due
from warmwatch.core.trust import Trust, believable, follows
from warmwatch.core.watch import Watch

JOB = Job(Band(80.0, 95.0))


def kinds(watch: Watch, elapsed_s: float, fluid_c: float) -> list[EventKind]:
    results = watch.step(Reading(elapsed_s, {"fluid_c": fluid_c}))
    return [result.kind for result in results if isinstance(result, Event)]


@pytest.mark.parametrize(("step_c", "believed"), [(5.0, True), (5.1, False), (-5.1, False)])
def test_a_step_of_three_degrees_and_two_a_second_is_the_most(
    step_c: float, believed: bool
) -> None:
    """One second later the fluid may be 5 degC away, and no more."""
    assert follows((10.0, 60.0), 11.0, 60.0 + step_c) is believed


@pytest.mark.parametrize(
    ("times", "believed"),
    [
        ((1.0, 2.0, 3.0), False),  # three readings
        ((1.0, 3.0, 5.0), False),  # three readings, however long
        ((1.0, 1.9, 2.9, 3.9), False),  # four, in 2.9 s
        ((1.0, 2.0, 3.0, 4.0), True),  # four, in 3 s
    ],
)
def test_another_level_is_believed_after_four_readings_and_three_seconds(
    times: tuple[float, ...], believed: bool
) -> None:
    """Both are needed: count and time."""
    trust = Trust()
    trust.judge(Reading(0.0, {"fluid_c": 20.0}))
    verdicts = [trust.judge(Reading(at_s, {"fluid_c": 80.0})) for at_s in times]
    last = verdicts[-1]
    assert last is not None
    assert (last.fluid_c is not None) is believed


def test_a_level_that_changes_again_is_counted_anew() -> None:
    """Four readings at two levels are no level that stays."""
    trust = Trust()
    trust.judge(Reading(0.0, {"fluid_c": 20.0}))
    for at_s, fluid_c in ((1.0, 80.0), (2.0, 80.0), (3.0, 120.0), (4.0, 120.0), (5.0, 120.0)):
        verdict = trust.judge(Reading(at_s, {"fluid_c": fluid_c}))
        assert verdict is not None
        assert verdict.fluid_c is None


def test_the_same_doubt_is_told_again_after_a_minute() -> None:
    """Once a minute while readings come, once alone while blind, and anew when they are back."""
    doubts, jump, other = Doubts(), Reason("jump", {"to_c": 130.0}), Reason("time-backwards")
    told = [doubts.is_news(at_s, jump, blind=False) for at_s in (0.0, 59.9, 60.0, 119.9, 120.0)]
    assert told == [True, False, True, False, True]
    assert doubts.is_news(121.0, other, blind=False)
    assert not doubts.is_news(1000.0, jump, blind=True)
    doubts.forget()
    assert doubts.is_news(1001.0, jump, blind=True)


def test_silence_behind_the_clock_lasts_as_long_as_any_other() -> None:
    """Times that lag are blindness after 5 s of them, and not while it is blind already."""
    sight = Sight(5.0)
    sight.see(100.0, 85.0)
    assert [sight.behind(at_s) for at_s in (50.0, 54.9, 55.0)] == [False, False, True]
    sight.see(101.0, 85.0)
    assert not sight.behind(60.0)
    assert not sight.behind(64.9)
    sight.lose(Reason("silent"))
    assert not sight.behind(66.0)
    assert sight.gaps == 1


def test_a_reading_at_the_limit_is_in_time_and_a_tick_is_not() -> None:
    """docs/watch.md: blind when no good reading came for 5 s; one just then did come."""
    for item, due in (
        (Reading(5.0, {}), False),
        (Reading(5.1, {}), True),
        (Tick(4.9), False),
        (Tick(5.0), True),
    ):
        assert is_due(5.0, item) is due
    assert Sight(5.0).last_good_s == 0.0


def test_doubted_values_are_taken_out_and_the_others_kept() -> None:
    """What the link doubts and what cannot be is not used; without either nothing is copied."""
    values = {"fluid_c": 85.0, "engine_rpm": 800.0, "coolant_c": 215.0}
    assert believable(Reading(0.0, values, {"engine_rpm": "late"})) == {"fluid_c": 85.0}
    good = {"fluid_c": 85.0, "engine_rpm": 800.0}
    assert believable(Reading(0.0, good)) is good
    assert believable(Reading(0.0, good, {"speed_kmh": "late"})) is good


def test_a_jump_inside_the_band_ends_the_window() -> None:
    """No claim of having been in the band runs across a jump."""
    watch = Watch(JOB)
    for second in range(10):
        kinds(watch, float(second), 82.0)
    for second in range(10, 20):
        kinds(watch, float(second), 94.5)
    window = watch.windows[0]
    assert (window.ended_by, window.left_s, window.max_c) == ("jump", 9.0, 82.0)
    assert watch.snapshot().place is Place.INSIDE


def test_a_crossing_seen_before_a_gap_does_not_count_after_it() -> None:
    """Entry needs its three seconds after the gap, whatever was seen before."""
    watch = Watch(JOB)
    for second in range(5):
        kinds(watch, float(second), 78.0)
    kinds(watch, 5.0, 80.5)
    assert EventKind.ENTERED not in kinds(watch, 40.0, 81.0)
    assert EventKind.ENTERED not in kinds(watch, 42.0, 81.0)
    assert EventKind.ENTERED in kinds(watch, 43.0, 81.0)


class Listening(Forecaster):
    """A forecaster that keeps the coolant temperatures it is given."""

    def __init__(self) -> None:
        super().__init__()
        self.coolant_c: list[float | None] = []

    def update(self, elapsed_s: float, fluid_c: float, **others: Any) -> None:
        """Keep what came and go on."""
        self.coolant_c.append(others["coolant_c"])
        super().update(elapsed_s, fluid_c, **others)


def test_an_old_coolant_temperature_is_not_used() -> None:
    """It is passed on for 30 s and not a second longer."""
    heard = Listening()
    watch = Watch(JOB, heard)
    watch.step(Reading(0.0, {"fluid_c": 60.0, "coolant_c": 85.0}))
    for second in (29.0, 30.0, 31.0):
        watch.step(Reading(second, {"fluid_c": 60.0}))
    assert heard.coolant_c == [85.0, 85.0, 85.0, None]


def test_many_readings_behind_the_clock_are_blindness() -> None:
    """Fifty of them in a row, however close together, and not one fewer."""
    watch = Watch(JOB)
    kinds(watch, 100.0, 85.0)
    told = [kinds(watch, 50.0 + number * 0.01, 85.0) for number in range(50)]
    assert all(EventKind.BLIND not in some for some in told[:-1])
    assert EventKind.BLIND in told[-1]
    assert watch.blind
