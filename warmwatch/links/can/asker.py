"""Single requests on a CAN bus."""

import time
from collections.abc import Callable, Generator, Iterator, Mapping

from warmwatch.links.address import Address
from warmwatch.links.asking.request import Exchange, Outcome, Request
from warmwatch.links.asking.survey import Asking, Offer, Survey
from warmwatch.links.asking.units import FIXED, Addressing, Unit, is_wide
from warmwatch.links.can.bus import BusOpener, lost
from warmwatch.links.can.port import CanSettings, own_requests, settings_of
from warmwatch.links.can.transport import Transport
from warmwatch.links.trying.asker import VehicleSilent
from warmwatch.links.trying.steps import Step, StepState

_RECEIVE_S = 0.02
_ADVICE = (
    "switch the ignition on (engine running only outdoors: exhaust gas), seat the plug, and check "
    "the bitrate"
)
_TEXT_ADVICE = "check the cable, and give the speed of the adapter's port (tty_baudrate=)"
_SET_BY_SYSTEM = "socketcan"


def open_asker(address: Address, told: Callable[[Step], None], target: int | None) -> "CanAsker":
    """Open the bus and survey the vehicle; `told` gets each step as it is taken.

    With `target`, a unit's address, silence to the survey is no reason to give up.
    Raises LinkError or UsageError.
    """
    asking = asking_steps(address, target)
    try:
        while True:
            told(next(asking))
    except StopIteration as end:
        asker: CanAsker = end.value
        return asker


def asking_steps(address: Address, target: int | None = None) -> Generator[Step, None, "CanAsker"]:
    """As `open_asker`, but yield each step as it is taken; returns the asker."""
    settings = settings_of(address)
    usb_serial = address.options.get("usb", "")
    transport = Transport(BusOpener(settings.channel, settings.options, usb_serial).open())
    asker = CanAsker(transport, settings)
    found = False
    try:
        yield Step("interface opened", StepState.OK, settings.channel)
        yield _bitrate_step(settings.options)
        yield from asker.survey(target)
        found = True
    finally:
        if not found:
            asker.close()
    return asker


class CanAsker:
    """Owns a bus. Waits are real time; whatever the driver raises becomes LinkLost."""

    def __init__(self, transport: Transport, settings: CanSettings) -> None:
        self._transport = transport
        self._settings = settings
        self._survey = Survey()

    @property
    def units(self) -> list[Unit]:
        return sorted(self._survey.heard)

    @property
    def offers(self) -> Mapping[Unit, Offer]:
        return self._survey.offers

    def unit_at(self, target: int) -> Unit:
        return self._transport.addressing.unit_at(target)

    def survey(self, target: int | None = None) -> Iterator[Step]:
        """Find out who is there, by each way of addressing; yields what is found.

        Raises VehicleSilent when nobody is, unless a unit's address is given as `target`.
        """
        name = "units that answer"
        for addressing in self._settings.addressings:
            self._transport.addressing = addressing
            self._survey = Survey(addressing.only)
            self._drive(self._survey.run())
            self._drive(self._survey.knock(own_requests(self._settings.signals, addressing)))
            if self._survey.heard:
                yield Step(name, StepState.OK, ", ".join(unit.label for unit in self.units))
                return
        if target is not None:
            self._transport.addressing = self._addressing_of(target)
            seen = f"{self._silence()} to the standard's requests; {target:X} is asked all the same"
            yield Step(name, StepState.UNKNOWN, seen)
            return
        advice = _TEXT_ADVICE if self._transport.no_text else _ADVICE
        yield Step(name, StepState.FAILED, self._silence(), advice)
        raise VehicleSilent(
            f"No unit answers on {self._settings.channel} ({self._silence()}): {advice}."
        )

    def _silence(self) -> str:
        if self._transport.no_text:
            return "the adapter sends what is no text of its protocol"
        if self._transport.frames:
            return "the bus carries frames, but no unit answers"
        return "bus errors, nothing readable" if self._transport.bus_errors else "silence"

    def _addressing_of(self, target: int) -> Addressing:
        """Return the way to reach `target`: an 11-bit identifier, or a node or identifier of 29."""
        named = [one for one in self._settings.addressings if (one is FIXED) == is_wide(target)]
        return (named or list(self._settings.addressings))[0]

    def ask(self, request: Request) -> Outcome:
        import can

        try:
            return self._exchange(request)
        except (can.CanError, OSError) as error:
            raise lost(self._settings.channel, error) from error

    def close(self) -> None:
        self._transport.close()

    def _exchange(self, request: Request) -> Outcome:
        time.sleep(request.delay_s)
        self._transport.receive(0)  # what is late by now belongs to no request
        self._transport.send(request.payload, request.unit)
        exchange = Exchange(request, time.monotonic(), self._settings.answer_s)
        while self._transport.receiving or not exchange.finished(time.monotonic()):
            for unit, payload in self._transport.receive(_RECEIVE_S):
                exchange.receive(unit, payload, time.monotonic())
        return exchange.outcome

    def _drive(self, asking: Asking) -> None:
        try:
            request = next(asking)
            while True:
                request = asking.send(self.ask(request))
        except StopIteration:
            return


def _bitrate_step(options: Mapping[str, object]) -> Step:
    """Say at which speed the bus is opened, as far as it is known here."""
    name = "bus speed"
    given = options.get("bitrate")
    if options["interface"] == _SET_BY_SYSTEM:
        seen = "as the system has set it: ip -details link show"
        if given is not None:
            seen += "; bitrate= has no effect on this interface"
        return Step(name, StepState.UNKNOWN, seen)
    if given is None:
        return Step(name, StepState.UNKNOWN, "as the adapter has it; bitrate= sets it")
    return Step(name, StepState.OK, f"{given} bit/s, as told")
