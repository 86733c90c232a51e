"""A whole job with a low band, from a hot road test to the closed plug, and what is said of it.

The vehicle is invented (one of the families of tests/evaluation). What is checked is the order of
what happens, and that no sentence contradicts what is so at that moment: the words themselves are
free to change.
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import pytest

from tests.evaluation.families import Five
from warmwatch.core.band import Band, Place
from warmwatch.core.events import Event
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job
from warmwatch.core.phase import Phase
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.steps import Step
from warmwatch.core.watch import Watch
from warmwatch.words.forecast import Shown, steady
from warmwatch.words.speech import sentence
from warmwatch.words.status import status_line
from warmwatch.words.view import View

BAND = Band(35.0, 45.0)


@dataclass(frozen=True, slots=True)
class Moment:
    """What was so and what was said after one item; `true_c` is the fluid's own temperature."""

    elapsed_s: float
    true_c: float
    place: Place
    blind: bool
    resting: bool
    step: Step
    forecast: Forecast | None
    line: str
    events: tuple[Event, ...]
    spoken: tuple[str, ...]


class Shop:
    """A vehicle that comes in hot from the road test, and the watch beside it."""

    def __init__(self) -> None:
        self.watch = Watch(Job(BAND))
        self.plant = Five(random.Random(3), cool=False)
        plant = self.plant
        plant.air, plant.coolant, plant.exhaust = 22.0, 88.0, 150.0
        plant.converter = plant.pan = plant.fluid = 90.0
        plant.housing = 75.0
        self.now_s, self.told = 0.0, list[Moment]()
        self._expected: Shown | None = None

    def go(self, seconds: int, way: Phase, *, switched_on: bool = True) -> Iterator[Moment]:
        """Pass seconds at a way and yield each moment."""
        running = float(way is not Phase.OFF)
        for _ in range(seconds):
            self.now_s += 1.0
            self.plant.step(way, running, 0.0, running)
            values = {"fluid_c": float(int(self.plant.fluid)), "engine_rpm": 720.0 * running,
                      "speed_kmh": 0.0, "ambient_c": 22.0}  # fmt: skip
            item = Reading(self.now_s, values) if switched_on else Tick(self.now_s)
            if (moment := self.take(item)) is not None:
                yield moment

    def mark(self, name: MarkName) -> None:
        self.take(Mark(self.now_s, name))

    def take(self, item: Item) -> Moment | None:
        """Fold an item; what was said is looked at with each event, and else every tenth second."""
        results = self.watch.step(item)
        for result in results:
            if isinstance(result, Forecast):
                self._expected = steady(self._expected, result)
        events = tuple(result for result in results if isinstance(result, Event))
        if not events and self.now_s > 1.0 and self.now_s % 10.0:
            return None
        snapshot = self.watch.snapshot()
        view = View(
            job=self.watch.job, snapshot=snapshot, now_s=self.now_s, link="", link_trouble="",
            recording="", recording_trouble="", expected=self._expected,
        )  # fmt: skip
        said = tuple(sentence(str(event.kind), view, event.reasons) for event in events)
        rest = snapshot.rest
        moment = Moment(
            self.now_s, self.plant.fluid, snapshot.place, snapshot.blind,
            rest is not None and rest.silent, snapshot.step, snapshot.forecast,
            status_line(view), events, said,
        )  # fmt: skip
        self.told.append(moment)
        return moment


def until(shop: Shop, kind: str, way: Phase, *, switched_on: bool = True) -> None:
    """Go on until an event of this kind, at most two hours."""
    for moment in shop.go(7200, way, switched_on=switched_on):
        if any(event.kind == kind for event in moment.events):
            return
    raise AssertionError(f"never {kind}")


@cache
def job() -> tuple[Moment, ...]:
    """Return the whole job: hot, resting, look again, cooling, entered, checked, closed."""
    shop = Shop()
    list(shop.go(60, Phase.IDLE))
    list(shop.go(20, Phase.OFF))
    shop.mark(MarkName.RESTING)
    until(shop, "look-again", Phase.OFF, switched_on=False)
    until(shop, "entered", Phase.OFF)
    list(shop.go(600, Phase.OFF))
    list(shop.go(70, Phase.IDLE))
    for name in (MarkName.PLUG_OUT, MarkName.STREAM, MarkName.DRIP, MarkName.PLUG_IN):
        shop.mark(name)
        list(shop.go(10, Phase.IDLE))
    shop.mark(MarkName.LEVEL_SET)
    return tuple(shop.told)


@pytest.mark.slow
def test_a_low_band_job_happens_in_order() -> None:
    """Above, look again, back, above, near, inside: in this order, and nothing blind in between."""
    kinds = [str(event.kind) for moment in job() for event in moment.events]
    order = ["left-high", "look-again", "seeing", "left-high", "nearing", "entered"]
    assert [kind for kind in kinds if kind in {*order, "blind", "levelling-off"}] == order


@pytest.mark.parametrize("moment_of", ["rest", "above"])
def test_nobody_is_told_to_warm_up_a_fluid_that_is_to_cool(moment_of: str) -> None:
    """From the first reading on, and during the rest, the step is to let it cool."""
    hot = [m for m in job() if (m.resting if moment_of == "rest" else m.place is Place.ABOVE)]
    assert len(hot) > 20
    assert {moment.step for moment in hot} == {Step.COOL_DOWN}
    assert job()[0].step is Step.COOL_DOWN


def test_the_rest_is_shown_as_a_rest() -> None:
    """While silence is meant the line says what was last read, and never that it is blind."""
    lines = [moment.line for moment in job() if moment.resting]
    assert lines
    assert all("Last read" in line and "BLIND" not in line for line in lines)


def test_what_is_reckoned_at_look_again_is_near_the_truth() -> None:
    """The reckoned range holds the fluid, and its middle is within 5 K (a sanity bound, ours)."""
    moment = next(m for m in job() if any(e.kind == "look-again" for e in m.events))
    (event,) = moment.events
    figures = next(r.figures for r in event.reasons if r.code == "reckoned")
    assert figures["low_c"] <= moment.true_c <= figures["high_c"]
    assert figures["middle_c"] == pytest.approx(moment.true_c, abs=5.0)


def test_the_times_to_the_band_come_true() -> None:
    """Cooling into the band, most ranges hold what came, and the middles are within a third."""
    moments = [m for m in job() if m.place is Place.ABOVE and m.elapsed_s > 1000.0]
    entered_s = next(e.crossed_s for m in job() for e in m.events if e.kind == "entered")
    assert entered_s is not None
    held, off = [], []
    for moment in moments[6::3]:
        said, left_s = moment.forecast, entered_s - moment.elapsed_s
        assert said is not None
        assert (said.edge, said.to, said.falling) == ("high", "enter", True)
        if said.q10_s is None or said.q50_s is None or said.q90_s is None or left_s < 60.0:
            continue
        held.append(said.q10_s <= left_s <= said.q90_s)
        off.append(abs(said.q50_s / left_s - 1.0))
    assert len(held) > 10
    assert sum(held) >= 0.6 * len(held)
    assert sorted(off)[len(off) // 2] < 1.0 / 3.0


def test_what_is_spoken_agrees_with_where_the_fluid_is() -> None:
    """No spoken sentence claims a place that the state contradicts."""
    for moment in job():
        for spoken in moment.spoken:
            assert not (spoken.startswith("In the band") and moment.place is not Place.INSIDE)
            assert not (spoken.startswith("Above") and moment.place is not Place.ABOVE)
            assert not (spoken.startswith("Below") and moment.place is not Place.BELOW)


def test_a_band_colder_than_the_air_is_said_to_be_out_of_reach() -> None:
    """In air of 47 °C nothing cools to 45 °C, and the line says why."""
    watch = Watch(Job(BAND))
    for second in range(40):
        watch.step(Reading(float(second), {"fluid_c": 60.0, "engine_rpm": 0.0, "speed_kmh": 0.0,
                                           "ambient_c": 47.0}))  # fmt: skip
    view = View(
        job=watch.job, snapshot=watch.snapshot(), now_s=39.0, link="", link_trouble="",
        recording="", recording_trouble="",
    )  # fmt: skip
    assert "the air is 47" in status_line(view)
    assert "to the band" not in status_line(view)
