"""The latest values: fresh or none, and bounded whatever a sender names."""

from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.latest import MOST_OTHERS, Latest
from warmwatch.core.reading import Reading
from warmwatch.core.watch import Watch


def test_ever_new_names_do_not_fill_the_memory() -> None:
    """The newest names are kept, and the quantities always."""
    watch = Watch(Job(Band(80.0, 90.0)))
    for number in range(5 * MOST_OTHERS):
        watch.step(Reading(float(number), {"fluid_c": 50.0, f"x{number}": 1.0}))
    latest = watch.snapshot().latest
    assert len(latest) == MOST_OTHERS + 1
    assert latest.keys() >= {"fluid_c", f"x{5 * MOST_OTHERS - 1}"}


def test_only_named_values_are_kept_where_names_are_given() -> None:
    """A tracker of two quantities does not keep the others."""
    latest = Latest(("in_park",))
    latest.take(0.0, {"in_park": 1.0, "engine_rpm": 800.0})
    assert set(latest.all()) == {"in_park"}


def test_what_the_link_doubts_is_no_latest_value() -> None:
    """A doubted or impossible value is kept in the recording, and used nowhere."""
    watch = Watch(Job(Band(80.0, 90.0)))
    values = {"fluid_c": 50.0, "coolant_c": 215.0, "engine_rpm": 900.0}
    watch.step(Reading(0.0, values, {"engine_rpm": "broken-answer"}))
    assert set(watch.snapshot().latest) == {"fluid_c"}
