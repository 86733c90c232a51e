"""Asks a vehicle: who is there, what is offered, and then poll after poll. No I/O.

One driver for every link that asks. What differs is the `Carrier` beneath: ISO-TP on a CAN bus, a
text adapter, or another way to put a request and get what came back.
"""

import time
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from warmwatch.core.notice import Notice
from warmwatch.core.units import QUANTITIES
from warmwatch.links.asking.patience import Patience
from warmwatch.links.asking.plan import NO_FLUID, Plan
from warmwatch.links.asking.question import FLUID, Question, questions
from warmwatch.links.asking.request import Request, RequestOutcome
from warmwatch.links.asking.silent import VehicleSilent
from warmwatch.links.asking.survey import Asking, Survey
from warmwatch.links.asking.units import Addressing, Unit, way_to
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.signals import Signal

SILENT = ((3, 2.5), (2, 4.0))
"""After so many polls and seconds without any answer the port is given up and opened again."""
AT_ONCE_S = 0.2
"""The fluid is handed over before the poll is done when the rest takes longer than this."""
LATE_S = 0.5
"""After this time at least, or the time between polls, the fluid is asked for again."""
RESPONDING, OFFER = "units that answer", "signals to ask for"
"""Steps; the second one ends the setting up, and polls follow."""

Talking = Generator[Any, Any, None]
"""Yields what it wants done (the carrier's own kinds of wish) or found, and is sent the result."""
Exchanging = Generator[Any, Any, RequestOutcome]


@dataclass(frozen=True, slots=True)
class Pause:
    """A wish of the driver: wait, on the clock that paces the polls."""

    seconds: float


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to read, and the shortest time between two polls in seconds.

    `extended`: the user agreed to the extended session where a signal needs it.
    """

    signals: tuple[Signal, ...] = ()
    poll_s: float = 1.0
    extended: bool = False

    def may_extend(self) -> bool:
        """True when the extended session may be asked for at all."""
        return self.extended and any(signal.session for signal in self.signals)


@dataclass(frozen=True, slots=True)
class Silence:
    """What was seen of a vehicle that does not answer, and what to try."""

    where: str
    seen: str
    advice: str

    def error(self) -> VehicleSilent:
        """Return it as the reason why the link is lost."""
        return VehicleSilent(f"No unit answers {self.where} ({self.seen}): {self.advice}.")


class Carrier(Protocol):
    """Puts requests to a vehicle. `addressing` is the present way to reach units."""

    patience: Patience
    addressing: Addressing

    @property
    def room(self) -> int:
        """How many bytes of payload one request may have."""

    @property
    def everybody(self) -> Unit | None:
        """The unit to ask where no address reaches all, else None."""

    def reach(self, target: int | None) -> Generator[Any, Any, Sequence[Addressing]]:
        """Set up and return the ways of addressing to try. Yields Steps. Raises LinkLost.

        With `target`, a unit's address, a silent vehicle is no reason to give up.
        """

    def exchange(self, request: Request) -> Exchanging:
        """Ask once and return what came back. Raises LinkLost."""

    def listen_on(self) -> Generator[Any, Any, bool]:
        """After a silent survey: return whether answers came late, so that it is worth another."""

    def notices(self) -> list[Notice]:
        """What there is to say after a poll."""

    def silence(self) -> Silence:
        """Why nobody answers, and what to do."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """A carrier with a surveyed vehicle behind it."""

    carrier: Carrier
    survey: Survey


def serve(carrier: Carrier, wanted: Wanted, now_s: Callable[[], float]) -> Talking:
    """Set up, survey and poll until the link is lost. Raises LinkLost and LinkRefused."""
    arrival = yield from arrive(carrier, wanted.signals)
    if not arrival.survey.heard:
        yield silent_step(silence := carrier.silence())
        raise silence.error()
    asked = questions(
        wanted.signals, arrival.survey.offers, carrier.addressing.unit_at, carrier.everybody
    )
    yield _offer_step(asked)
    plan = Plan(asked, carrier.room, carrier.everybody, extended=wanted.may_extend())
    yield from _polls(carrier, plan, wanted.poll_s, now_s)


def arrive(
    carrier: Carrier, signals: Iterable[Signal], target: int | None = None
) -> Generator[Any, Any, Arrival]:
    """Set up and find out who is there; the survey heard nobody where all is silent.

    With `target`, a unit's address, the carrier is then left with the way to reach that one.
    """
    ways = yield from carrier.reach(target)
    own = tuple(signals)
    while True:
        for carrier.addressing in ways:
            survey = Survey(carrier.everybody)
            yield from drive(survey.run(), carrier)
            yield from drive(survey.knock(_knocks(own, carrier)), carrier)
            if survey.heard:
                yield from _introduced(survey)
                return Arrival(carrier, survey)
        if target is not None:
            carrier.addressing = way_to(target, ways)
            return Arrival(carrier, survey)
        if not (yield from carrier.listen_on()):
            return Arrival(carrier, survey)


def drive(asking: Asking, carrier: Carrier) -> Talking:
    """Put each request and hand back what came of it."""
    try:
        request = next(asking)
        while True:
            outcome = yield from carrier.exchange(request)
            request = asking.send(outcome)
    except StopIteration:
        return


def _knocks(signals: Iterable[Signal], carrier: Carrier) -> Iterator[Request]:
    """Yield what the signal file asks: a vehicle may answer these only."""
    for signal in signals:
        if signal.session:
            continue
        unit = carrier.everybody
        if signal.target is not None:
            unit = carrier.addressing.unit_at(signal.target, signal.answer_id)
        yield Request(signal.service, (signal.identifier,), unit)


def _polls(carrier: Carrier, plan: Plan, poll_s: float, now_s: Callable[[], float]) -> Talking:
    at_once = False
    while True:
        clock_s = now_s()
        cycle = plan.cycle(clock_s, _after(time.monotonic() + max(poll_s, LATE_S)))
        at_once = yield from _handing_over(plan, drive(cycle, carrier), at_once)
        yield from carrier.notices()
        silent_s = now_s() - plan.silent_since_s
        if any(plan.silent_cycles >= polls and silent_s >= least_s for polls, least_s in SILENT):
            raise carrier.silence().error()
        yield Pause(max(0.0, poll_s - (now_s() - clock_s)))


def _after(limit_s: float) -> Callable[[], bool]:
    return lambda: time.monotonic() > limit_s


def _handing_over(plan: Plan, driving: Talking, at_once: bool) -> Generator[Any, Any, bool]:
    """Drive a poll and hand over what came: `at_once`, or when the rest takes long.

    Returns whether the rest took so long that the next poll should not wait for it.
    """
    since_s: float | None = None
    sent: object = None
    while True:
        try:
            wish = driving.send(sent)
        except StopIteration:
            break
        if since_s is None and plan.has_values:
            since_s = time.monotonic()
        if since_s is not None and (at_once or time.monotonic() - since_s > AT_ONCE_S):
            yield from plan.take()
        sent = yield wish
    yield from plan.take()
    return since_s is not None and time.monotonic() - since_s > AT_ONCE_S


def _introduced(survey: Survey) -> Talking:
    units = ", ".join(unit.label for unit in sorted(survey.heard))
    yield Step(RESPONDING, StepState.OK, units)
    yield Notice(f"Units that answer: {units}.")


def silent_step(silence: Silence) -> Step:
    """Return the step of a survey that nobody answered."""
    return Step(RESPONDING, StepState.FAILED, silence.seen, silence.advice)


def _offer_step(asked: Sequence[Question]) -> Step:
    names = [signal.name for question in asked for signal in question.signals]
    known = ", ".join(name for name in names if name in QUANTITIES)
    if FLUID in names:
        return Step(OFFER, StepState.OK, known)
    return Step(OFFER, StepState.FAILED, known or "none", NO_FLUID)
