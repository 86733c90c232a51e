"""The limits of the fold, each tried on both sides.

The figures themselves are ours (core/trust.py, core/watch.py say why); what is held here is that
they are kept to the reading.
"""

from typing import Any

import pytest

from warmwatch.core.band import Band, Place
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecaster
from warmwatch.core.job import Job
from warmwatch.core.reading import Reading
from warmwatch.core.trust import Trust, follows
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
