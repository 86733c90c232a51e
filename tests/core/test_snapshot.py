"""What a screen may show: the state of the watch after its last item."""

from collections.abc import Iterable
from dataclasses import FrozenInstanceError
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest

import warmwatch.core
from warmwatch.core.band import Band, Place
from warmwatch.core.events import Event, EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job
from warmwatch.core.phase import Phase
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.steps import Step
from warmwatch.core.watch import Watch

JOB = Job(Band(80.0, 90.0))
IDLE = {"engine_rpm": 760.0, "speed_kmh": 0.0}


def watched(*items: Item) -> Watch:
    watch = Watch(JOB)
    for item in items:
        watch.step(item)
    return watch


def readings(fluid_c: float, seconds: int, from_s: float = 0.0) -> list[Item]:
    return [Reading(from_s + t, {"fluid_c": fluid_c, **IDLE}) for t in range(seconds)]


_WORKED_ON = ("Answer", "_Stretch")
"""What the forecast fills in while it works, and hands to nobody."""


def _records() -> Iterable[type]:
    folder = Path(warmwatch.core.__file__).parent
    for path in sorted(folder.rglob("*.py")):
        name = ".".join(path.relative_to(folder.parent.parent).with_suffix("").parts)
        for found in vars(import_module(name.removesuffix(".__init__"))).values():
            if not isinstance(found, type) or found.__module__ != name:
                continue
            if found.__name__ not in _WORKED_ON and hasattr(found, "__dataclass_fields__"):
                yield found


@pytest.mark.parametrize("record", list(_records()), ids=lambda record: record.__name__)
def test_what_the_core_hands_out_cannot_be_changed(record: type) -> None:
    """An output in another thread may keep it: events, snapshots and all in them are frozen."""
    one: Any = object.__new__(record)
    first = next(iter(vars(record)["__dataclass_fields__"]))
    with pytest.raises(FrozenInstanceError):
        setattr(one, first, None)


def test_a_snapshot_is_of_the_last_item() -> None:
    """Its time, its values and its counts; before any item there is none of them."""
    before = Watch(JOB).snapshot()
    assert (before.elapsed_s, before.fluid_c, before.last_good_s) == (0.0, None, None)
    assert (before.check, before.readings, before.doubtful, before.gaps) == (None, 0, 0, 0)
    watch = watched(*readings(70.0, 5), Reading(5.0, {"fluid_c": -40.0}), Tick(7.0))
    after = watch.snapshot()
    assert (after.elapsed_s, after.fluid_c, after.last_good_s) == (7.0, 70.0, 4.0)
    assert (after.readings, after.doubtful, after.gaps) == (6, 1, 0)
    assert after.latest["engine_rpm"].at_s == 4.0


def test_a_snapshot_shows_the_open_check_or_the_last() -> None:
    """Without any check it shows none."""
    watch = watched(*readings(85.0, 10))
    for out_s in (10.0, 20.0):
        watch.step(Mark(out_s, MarkName.PLUG_OUT))
        check = watch.snapshot().check
        assert check is not None
        assert (check.out_s, check.in_s) == (out_s, None)
        watch.step(Mark(out_s + 1.0, MarkName.PLUG_IN))
        check = watch.snapshot().check
        assert check is not None
        assert (check.out_s, check.in_s) == (out_s, out_s + 1.0)


def test_the_conditions_matter_from_near_on() -> None:
    """docs/watch.md: from `nearing` on, in the band, and with the plug out; never while blind."""
    assert not watched(*readings(60.0, 10)).snapshot().near_check
    inside = watched(*readings(85.0, 10))
    assert inside.snapshot().near_check
    inside.step(Tick(20.0))
    assert not inside.snapshot().near_check
    opened = watched(*readings(60.0, 10), Mark(10.0, MarkName.PLUG_OUT))
    assert opened.snapshot().near_check
    near = Watch(JOB)
    near.step(Reading(0.0, {"fluid_c": 60.0, **IDLE}))
    for t in range(1, 600):
        results = near.step(Reading(float(t), {"fluid_c": 60.0 + t / 20.0, **IDLE}))
        if any(isinstance(r, Event) and r.kind is EventKind.NEARING for r in results):
            break
    assert near.snapshot().place is Place.BELOW
    assert near.snapshot().near_check


def test_an_engine_speed_older_than_five_seconds_is_no_phase() -> None:
    """As the fluid, it is not believed for longer than silence may last (5 s)."""
    watch = watched(*readings(60.0, 3))
    for at_s, phase in ((7.0, Phase.IDLE), (7.1, Phase.UNKNOWN)):
        watch.step(Reading(at_s, {"fluid_c": 60.0}))
        assert watch.phase is phase


@pytest.mark.parametrize(
    ("fluid_c", "edge", "to"),
    [
        (60.0, "low", "enter"),
        (85.0, "low", "enter"),
        (90.0, "low", "enter"),
        (90.1, "high", "enter"),
        (99.0, "high", "enter"),
    ],
)
def test_the_first_forecast_is_for_the_edge_that_the_fluid_comes_from(
    fluid_c: float, edge: str, to: str
) -> None:
    """docs/json.md: below the band `low`, above it `high`; both edges belong to the band."""
    results = Watch(JOB).step(Reading(0.0, {"fluid_c": fluid_c}))
    (forecast,) = [result for result in results if isinstance(result, Forecast)]
    assert (forecast.edge, forecast.to) == (edge, to)


@pytest.mark.parametrize(("fluid_c", "step"), [(90.1, Step.COOL_DOWN), (90.0, Step.WARM_UP)])
def test_a_first_reading_above_the_band_is_to_cool_down(fluid_c: float, step: Step) -> None:
    """Also before the place is confirmed: nobody is told to warm a fluid that is too hot."""
    assert watched(Reading(0.0, {"fluid_c": fluid_c})).visit_step is step


def test_too_warm_from_the_start_has_its_reason_and_a_window_that_ends_has_none() -> None:
    """docs/watch.md: a reason with `left-high` means that there was no window before."""

    def left(*items: Item) -> list[list[str]]:
        watch = Watch(JOB)
        results = [r for item in items for r in watch.step(item)]
        found = [r for r in results if isinstance(r, Event) and r.kind is EventKind.LEFT_HIGH]
        assert all(event.fit is None for event in found)
        return [[reason.code for reason in event.reasons] for event in found]

    assert left(*readings(95.0, 5)) == [["not-seen-inside"]]
    assert left(*readings(89.0, 5), *readings(91.0, 5, 5.0)) == [[]]


def test_a_jump_that_stays_is_one_gap() -> None:
    """Continuity was lost once, and the recording says how often."""
    watch = watched(*readings(30.0, 10), *readings(70.0, 10, 10.0))
    assert watch.snapshot().gaps == 1
