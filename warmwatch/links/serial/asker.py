"""Single requests through a text adapter."""

import time
from collections.abc import Callable, Mapping
from dataclasses import replace

from warmwatch.links.address import Address
from warmwatch.links.asking.request import Outcome, Request
from warmwatch.links.asking.survey import Offer
from warmwatch.links.asking.units import FIXED, NORMAL, Unit, is_wide
from warmwatch.links.byte_port import PortOpener
from warmwatch.links.serial.port import TextPort, settings_of
from warmwatch.links.serial.serve import Arrival, Talking, Wanted, arrive
from warmwatch.links.serial.talk import Bus, Pause
from warmwatch.links.tally import Tally
from warmwatch.links.trying.asker import VehicleSilent
from warmwatch.links.trying.steps import Step, StepState

_IDLE_S = 0.02


def open_asker(address: Address, told: Callable[[Step], None], target: int | None) -> "SerialAsker":
    """Open the adapter and survey the vehicle. Raises LinkError or UsageError.

    An adapter finds the bus by the standard's requests. With `target`, a unit's address, silence to
    these is no reason to give up: the usual bus for such an address is taken.
    """
    settings = settings_of(address)
    opener = PortOpener(settings.name, settings.baud, settings.usb_serial)
    try:
        return _opened(opener, settings.wanted, told)
    except VehicleSilent:
        if target is None or settings.wanted.bus is not Bus.AUTO:
            raise
    bus = Bus.BITS_29_500K if is_wide(target) else Bus.BITS_11_500K
    seen = f"nobody answers the standard's requests; {target:X} is asked all the same on {bus}"
    told(Step("bus", StepState.UNKNOWN, seen, "?bus= names another"))
    return _opened(opener, replace(settings.wanted, bus=bus), told)


def _opened(opener: PortOpener, wanted: Wanted, told: Callable[[Step], None]) -> "SerialAsker":
    port = opener.open()
    return SerialAsker(port_talk=lambda talk: TextPort(port, talk), wanted=wanted, told=told)


class SerialAsker:
    """Puts requests to the talk that runs on the port, one at a time."""

    def __init__(
        self,
        port_talk: Callable[[Talking], TextPort],
        wanted: Wanted,
        told: Callable[[Step], None],
    ) -> None:
        self._wanted = wanted
        self._told = told
        self._arrival: Arrival | None = None
        self._request: Request | None = None
        self._outcome: Outcome | None = None
        self._port = port_talk(self._talk())
        try:
            while self._arrival is None:
                self._work()
        finally:
            if self._arrival is None:
                self._port.close()

    @property
    def units(self) -> list[Unit]:
        return sorted(self._arrived.survey.heard)

    @property
    def offers(self) -> Mapping[Unit, Offer]:
        return self._arrived.survey.offers

    def unit_at(self, target: int) -> Unit:
        return (FIXED if self._arrived.wide else NORMAL).unit_at(target)

    def ask(self, request: Request) -> Outcome:
        self._request, self._outcome = request, None
        while self._outcome is None:
            self._work()
        return self._outcome

    def close(self) -> None:
        self._port.close()

    @property
    def _arrived(self) -> Arrival:
        assert self._arrival is not None
        return self._arrival

    def _work(self) -> None:
        for item in self._port.work():
            if isinstance(item, Step):
                self._told(item)

    def _talk(self) -> Talking:
        tally = Tally("An answer of the adapter", "answer", "", time.monotonic)
        self._arrival = yield from arrive(self._wanted, tally)
        while True:
            while self._request is None:
                yield Pause(_IDLE_S)
            request, self._request = self._request, None
            self._outcome = yield from self._arrival.bus.exchange(request)
