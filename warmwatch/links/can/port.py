"""`can:CHANNEL?interface=...`: asks a vehicle over ISO-TP, and only ever reads.

Every option that is not ours goes to python-can. Ours: `signals=FILE` the vehicle's own
identifiers, `poll=SECONDS` between polls, `answer=SECONDS` to wait for an answer, `addressing=`
normal, fixed or extended (with `request_id=`, `answer_id=`, `target=` in hex digits), `usb=NUMBER`
the USB serial number of the adapter's port, to follow it when it comes back under another name.
"""

import time
from collections.abc import Generator, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass

from warmwatch.core.notice import Notice
from warmwatch.errors import LinkLost
from warmwatch.links.address import Address
from warmwatch.links.asking.plan import Plan
from warmwatch.links.asking.question import questions
from warmwatch.links.asking.request import Exchange, Outcome, Request
from warmwatch.links.asking.survey import Asking, Survey
from warmwatch.links.asking.units import FIXED, NORMAL, Addressing, addressings
from warmwatch.links.base import WAIT_S
from warmwatch.links.can.bus import BusOpener, bus_options, lost, seconds_option
from warmwatch.links.can.frames import NO_TEXT_WORDS
from warmwatch.links.can.transport import Transport
from warmwatch.links.clock import Clock, SystemClock
from warmwatch.links.live import LiveLink, Polled
from warmwatch.signals import Signal, load_signal_file

OWN_OPTIONS = frozenset(
    {"signals", "poll", "answer", "addressing", "request_id", "answer_id", "target", "usb"}
)
SILENT_CYCLES, SILENT_S = 3, 2.5
"""After so many polls and seconds without any answer the port is given up and opened anew."""
SLOW_S = 2.0
"""A unit that is still working after this time is told."""
LONG_CYCLE_S = 0.5
"""What was answered is handed over after this time even if the poll is not done."""

Polling = Generator[list[Polled], None, None]


@dataclass(frozen=True, slots=True)
class CanSettings:
    """How to reach a vehicle. Times in seconds; `poll_s` is on the clock given to the port."""

    channel: str
    options: Mapping[str, object]
    signals: tuple[Signal, ...] = ()
    poll_s: float = 1.0
    answer_s: float = 0.4
    addressings: tuple[Addressing, ...] = (NORMAL, FIXED)
    pause_step_s: float = 0.02


class CanPort:
    """One opened bus and the polls on it. Waits for answers are real time; pauses are `clock`'s."""

    def __init__(
        self, settings: CanSettings, clock: Clock, opener: BusOpener | None = None
    ) -> None:
        self._settings = settings
        self._clock = clock
        opener = opener or BusOpener(settings.channel, settings.options)
        self._transport = Transport(opener.open())
        self._polling = self._polls()
        self._plan: Plan | None = None
        self._cycle_began_s: float | None = None
        self._asked_s = 0.0
        self._told: set[str] = set()

    def poll(self) -> list[Polled]:
        """Do up to WAIT_S of work and return what came."""
        import can

        try:
            return next(self._polling)
        except (can.CanError, OSError) as error:
            raise lost(self._settings.channel, error) from error

    def close(self) -> None:
        self._polling.close()
        self._transport.close()

    def _polls(self) -> Polling:
        survey = yield from self._surveyed()
        plan = self._plan = self._planned(survey)
        while True:
            began_s = self._clock.elapsed_s()
            self._cycle_began_s = time.monotonic()
            yield from self._drive(plan.cycle(began_s))
            self._cycle_began_s = None
            yield plan.take()
            silent_s = self._clock.elapsed_s() - plan.silent_since_s
            if plan.silent_cycles >= SILENT_CYCLES and silent_s >= SILENT_S:
                raise LinkLost(self._silence())
            yield from self._pause(began_s + self._settings.poll_s)

    def _surveyed(self) -> Generator[list[Polled], None, Survey]:
        for addressing in self._settings.addressings:
            self._transport.addressing = addressing
            survey = Survey(addressing.only)
            yield from self._drive(survey.run())
            yield from self._drive(survey.knock(own_requests(self._settings.signals, addressing)))
            if survey.heard:
                yield [_introduction(survey)]
                return survey
        raise LinkLost(self._silence())

    def _planned(self, survey: Survey) -> Plan:
        addressing = self._transport.addressing
        asked = questions(
            self._settings.signals, survey.offers, addressing.unit_at, addressing.only
        )
        return Plan(asked, 7 if addressing.only is None else 6, addressing.only)

    def _drive(self, asking: Asking) -> Polling:
        """Put requests on the bus and send back what came of each."""
        try:
            request = next(asking)
            while True:
                outcome = yield from self._exchange(request)
                request = asking.send(outcome)
        except StopIteration:
            return

    def _exchange(self, request: Request) -> Generator[list[Polled], None, Outcome]:
        if request.delay_s:
            time.sleep(min(request.delay_s, WAIT_S))
        self._transport.receive(0)  # what is late by now belongs to no request
        self._transport.send(request.payload, request.unit)
        self._asked_s = time.monotonic()
        exchange = Exchange(request, self._asked_s, self._settings.answer_s)
        while True:
            for unit, payload in self._transport.receive(0.02):
                exchange.receive(unit, payload, time.monotonic())
            if exchange.finished(time.monotonic()) and not self._transport.receiving:
                return exchange.outcome
            yield [*self._early(), *self._slowness(exchange, request)]

    def _slowness(self, exchange: Exchange, request: Request) -> list[Polled]:
        """Tell once that a unit is still working: it may be so for a minute."""
        if not exchange.waiting_for or time.monotonic() - self._asked_s < SLOW_S:
            return []
        unit = exchange.waiting_for[0].label
        asked = f"{request.service:02X} {request.identifiers[0]:0{2 * request.width}X}"
        text = f"{unit} is asked for {asked} and says that it is still working; it is waited for."
        if text in self._told:
            return []
        self._told.add(text)
        return [Notice(text, alarm=True)]

    def _early(self) -> list[Polled]:
        began_s = self._cycle_began_s
        if self._plan is None or began_s is None or time.monotonic() - began_s < LONG_CYCLE_S:
            return []
        return self._plan.take()

    def _pause(self, until_s: float) -> Polling:
        while (left_s := until_s - self._clock.elapsed_s()) > 0:
            self._clock.wait(min(left_s, self._settings.pause_step_s))
            self._transport.receive(0)  # other traffic must not pile up in the adapter
            yield []

    def _silence(self) -> str:
        if self._transport.no_text:
            return f"{self._settings.channel} {NO_TEXT_WORDS}."
        if self._transport.bus_errors:
            return (
                f"{self._settings.channel} reports bus errors and no unit answers: is the bitrate "
                f"right?"
            )
        return (
            f"No unit answers on {self._settings.channel}: is the ignition on, the plug seated, "
            f"and the bitrate right?"
        )


def own_requests(signals: Iterable[Signal], addressing: Addressing) -> Iterator[Request]:
    """Yield what a signal file asks: a vehicle may answer these only."""
    for signal in signals:
        unit = addressing.only
        if signal.target is not None:
            unit = addressing.unit_at(signal.target, signal.answer_id)
        yield Request(signal.service, (signal.identifier,), unit)


def _introduction(survey: Survey) -> Notice:
    units = ", ".join(unit.label for unit in sorted(survey.heard))
    return Notice(f"Units that answer: {units}.")


def open_address(address: Address, pace: float | None) -> LiveLink:
    """Return the link of a `can:` address; `pace` is ignored, a vehicle has its own."""
    settings = settings_of(address)
    clock = SystemClock()
    about = {
        "address": str(address),
        "signals": [asdict(signal) for signal in settings.signals],
    }
    opener = BusOpener(settings.channel, settings.options, address.options.get("usb", ""))
    return LiveLink(lambda: CanPort(settings, clock, opener), clock, about, settings.poll_s)


def settings_of(address: Address) -> CanSettings:
    """Return the settings in an address's options; UsageError says which one is wrong."""
    options = address.options
    signals = load_signal_file(options["signals"]).signals if "signals" in options else ()
    return CanSettings(
        channel=address.rest,
        options=bus_options(address, OWN_OPTIONS),
        signals=signals,
        poll_s=seconds_option(options, "poll", 1.0),
        answer_s=seconds_option(options, "answer", 0.4),
        addressings=addressings(options),
    )
