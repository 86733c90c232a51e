"""A whole session with a text adapter: set up, survey the vehicle, then poll. No I/O.

The requests come from the same survey and plan as those of `can:`; only the way to put one and to
read its answer is different.
"""

from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass

from warmwatch.core.notice import Notice
from warmwatch.core.units import QUANTITIES
from warmwatch.errors import LinkLost
from warmwatch.links.asking.plan import NO_FLUID, Plan
from warmwatch.links.asking.question import FLUID, Question, questions
from warmwatch.links.asking.request import Request
from warmwatch.links.asking.survey import Asking, Survey
from warmwatch.links.asking.units import FIXED, NORMAL, Unit
from warmwatch.links.serial.exchange import TextBus
from warmwatch.links.serial.talk import (
    IGNITION,
    Bus,
    Pause,
    Wish,
    battery,
    find_bus,
    greet,
    set_up,
)
from warmwatch.links.tally import Tally
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.signals import Signal, standard_table

SILENT_CYCLES, SILENT_S = 3, 2.0
"""After so many polls without any answer, and so long, everything is set up anew."""
ROOM = 7
"""Bytes of payload in the single frame that an adapter of this kind sends."""
RATE_OVER_CYCLES = 20
LONG_CYCLE_S = 0.5
"""What was answered is handed over after this time even if the poll is not done."""
LOW_VOLTS = 11.5
OFFER = "signals to ask for"
"""The step that ends the setting up; polls follow."""

Talking = Generator[Wish, str | None, None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to read and how often; `poll_s` is the shortest time between two polls."""

    signals: tuple[Signal, ...] = ()
    poll_s: float = 0.2
    bus: Bus = Bus.AUTO
    bauds: tuple[int | None, ...] = (None,)


@dataclass(frozen=True, slots=True)
class Arrival:
    """A set-up adapter with a surveyed vehicle behind it."""

    bus: TextBus
    survey: Survey
    wide: bool


def serve(wanted: Wanted, tally: Tally, now_s: Callable[[], float]) -> Talking:
    """Set up, survey and poll until the link is lost. Raises LinkLost and LinkRefused."""
    arrival = yield from arrive(wanted, tally)
    if not arrival.survey.heard:
        raise LinkLost(f"The adapter works, but the vehicle is silent: {IGNITION}.")
    unit_at = (FIXED if arrival.wide else NORMAL).unit_at
    everybody = arrival.bus.everybody
    asked = questions(wanted.signals, arrival.survey.offers, unit_at, everybody)
    yield _offer_step(asked)
    yield from _poll(arrival.bus, Plan(asked, ROOM, everybody), wanted.poll_s, tally, now_s)


def arrive(wanted: Wanted, tally: Tally) -> Generator[Wish, str | None, Arrival]:
    """Set up the adapter and find out who is there."""
    name = yield from greet(wanted.bauds)
    called = f"it calls itself {name!r}" if name else "it does not say what it is"
    yield Step("adapter answers", StepState.OK, called)
    yield from set_up(wanted.bus)
    yield _battery_step((yield from battery()))
    adapter = yield from find_bus(wanted.bus)
    bus = TextBus(adapter, (*wanted.signals, *standard_table()), tally)
    survey = Survey(bus.everybody)
    yield from _drive(survey.run(), bus)
    yield from _drive(survey.knock(_own_requests(wanted, adapter.wide, bus.everybody)), bus)
    yield from _survey_steps(survey)
    return Arrival(bus, survey, adapter.wide)


def _own_requests(wanted: Wanted, wide: bool, everybody: Unit | None) -> Iterator[Request]:
    """What the signal file asks: a vehicle may answer these only."""
    addressing = FIXED if wide else NORMAL
    for signal in wanted.signals:
        named = signal.target is not None
        unit = addressing.unit_at(signal.target or 0, signal.answer_id) if named else everybody
        yield Request(signal.service, (signal.identifier,), unit)


def _poll(
    bus: TextBus, plan: Plan, poll_s: float, tally: Tally, now_s: Callable[[], float]
) -> Talking:
    first_s, cycles = now_s(), 0
    while True:
        began_s = now_s()
        yield from _handing_over(plan, plan.cycle(began_s), bus, now_s)
        yield from tally.due()
        if plan.silent_cycles >= SILENT_CYCLES and now_s() - plan.silent_since_s >= SILENT_S:
            raise LinkLost(f"The adapter works, but the vehicle is silent: {IGNITION}.")
        yield Pause(max(0.0, poll_s - (now_s() - began_s)))
        cycles += 1
        if cycles == RATE_OVER_CYCLES:
            yield Notice(f"This adapter gives {cycles / (now_s() - first_s):.1f} polls a second.")


def _handing_over(plan: Plan, asking: Asking, bus: TextBus, now_s: Callable[[], float]) -> Talking:
    """Drive a poll, and hand over early what came when the rest of it takes long."""
    driving, began_s = _drive(asking, bus), now_s()
    text: str | None = None
    try:
        wish = next(driving)
        while True:
            if now_s() - began_s > LONG_CYCLE_S:
                yield from plan.take()
            text = yield wish
            wish = driving.send(text)
    except StopIteration:
        yield from plan.take()


def _drive(asking: Asking, bus: TextBus) -> Talking:
    """Put each request through the adapter and hand back what came of it."""
    try:
        request = next(asking)
        while True:
            outcome = yield from bus.exchange(request)
            request = asking.send(outcome)
    except StopIteration:
        return


def _battery_step(volts: float | None) -> Step:
    name = "voltage at the plug"
    if volts is None:
        return Step(name, StepState.UNKNOWN, "the adapter cannot tell")
    if volts < LOW_VOLTS:
        advice = "charge the battery or check the plug's supply"
        return Step(name, StepState.UNKNOWN, f"{volts:.1f} V is low", advice)
    return Step(name, StepState.OK, f"{volts:.1f} V")


def _survey_steps(survey: Survey) -> Talking:
    name = "units that answer"
    if survey.heard:
        units = ", ".join(unit.label for unit in sorted(survey.heard))
        yield Step(name, StepState.OK, units)
        yield Notice(f"Units that answer: {units}.")
        return
    yield Step(name, StepState.UNKNOWN, "none so far", IGNITION)


def _offer_step(asked: Sequence[Question]) -> Step:
    names = [signal.name for question in asked for signal in question.signals]
    known = ", ".join(name for name in names if name in QUANTITIES)
    if FLUID in names:
        return Step(OFFER, StepState.OK, known)
    return Step(OFFER, StepState.FAILED, known or "none", NO_FLUID)
