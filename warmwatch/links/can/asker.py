"""Single requests on a CAN bus."""

import time
from collections.abc import Callable, Mapping

from warmwatch.errors import LinkLost
from warmwatch.links.address import Address
from warmwatch.links.asking.request import Exchange, Outcome, Request
from warmwatch.links.asking.survey import Asking, Offer, Survey
from warmwatch.links.asking.units import Unit
from warmwatch.links.can.bus import BusOpener, lost
from warmwatch.links.can.port import CanSettings, own_requests, settings_of
from warmwatch.links.can.transport import Transport
from warmwatch.links.trying.steps import Step, StepState

_RECEIVE_S = 0.02
_ADVICE = (
    "switch the ignition on (engine running only outdoors: exhaust gas), seat the plug, and check "
    "the bitrate"
)
_SET_BY_SYSTEM = "socketcan"


def open_asker(address: Address, told: Callable[[Step], None]) -> "CanAsker":
    """Open the bus and survey the vehicle. Raises LinkError or UsageError."""
    settings = settings_of(address)
    usb_serial = address.options.get("usb", "")
    transport = Transport(BusOpener(settings.channel, settings.options, usb_serial).open())
    asker = CanAsker(transport, settings, told)
    told(Step("interface opened", StepState.OK, settings.channel))
    told(_bitrate_step(settings.options))
    found = False
    try:
        asker.survey()
        found = True
    finally:
        if not found:
            asker.close()
    return asker


class CanAsker:
    """Owns a bus. Waits are real time; whatever the driver raises becomes LinkLost."""

    def __init__(
        self, transport: Transport, settings: CanSettings, told: Callable[[Step], None]
    ) -> None:
        self._transport = transport
        self._settings = settings
        self._told = told
        self._survey = Survey()

    @property
    def units(self) -> list[Unit]:
        return sorted(self._survey.heard)

    @property
    def offers(self) -> Mapping[Unit, Offer]:
        return self._survey.offers

    def unit_at(self, target: int) -> Unit:
        return self._transport.addressing.unit_at(target)

    def survey(self) -> None:
        """Find out who is there, by each way of addressing. Raises LinkLost when nobody is."""
        for addressing in self._settings.addressings:
            self._transport.addressing = addressing
            self._survey = Survey(addressing.only)
            self._drive(self._survey.run())
            self._drive(self._survey.knock(own_requests(self._settings.signals, addressing)))
            if self._survey.heard:
                units = ", ".join(unit.label for unit in self.units)
                self._told(Step("units that answer", StepState.OK, units))
                return
        seen = (
            "the bus carries frames, but no unit answers"
            if self._transport.frames
            else ("bus errors, nothing readable" if self._transport.bus_errors else "silence")
        )
        self._told(Step("units that answer", StepState.FAILED, seen, _ADVICE))
        raise LinkLost(f"No unit answers on {self._settings.channel} ({seen}): {_ADVICE}.")

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
