"""Single requests to a vehicle, one after the other: for searching, not for watching."""

import time
from collections.abc import Callable, Mapping
from typing import Protocol

from warmwatch.errors import LinkError, UsageError
from warmwatch.links.address import Address
from warmwatch.links.asking.driver import (
    RESPONDING,
    Arrival,
    Carrier,
    Pause,
    Talking,
    arrive,
    silent_step,
)
from warmwatch.links.asking.link import Opener, opener_of
from warmwatch.links.asking.request import Request, RequestOutcome
from warmwatch.links.asking.silent import VehicleSilent
from warmwatch.links.asking.survey import Offer
from warmwatch.links.asking.units import Unit
from warmwatch.links.trying.steps import Step, StepState

__all__ = ["Asker", "TalkAsker", "VehicleSilent", "open_again", "open_asker"]

AGAIN_S, AGAIN_PAUSE_S = 60.0, 1.0
_IDLE_S = 0.02

Told = Callable[[Step], None]


class Asker(Protocol):
    """An opened way to ask."""

    @property
    def units(self) -> list[Unit]:
        """The units that answered the survey."""

    @property
    def offers(self) -> Mapping[Unit, Offer]:
        """What each of them offers of the standard's values."""

    def unit_at(self, target: int) -> Unit:
        """Return the unit asked at `target`."""

    def ask(self, request: Request) -> RequestOutcome:
        """Ask once and wait for the answer. Raises LinkLost."""

    def close(self) -> None:
        """Free the port."""


class TalkAsker:
    """Puts requests to the talk that runs on a port, one at a time.

    With `target`, the address of a unit, it goes on where nobody answers the survey. `told` gets
    the steps on the way. Raises LinkError.
    """

    def __init__(self, opener: Opener, told: Told, target: int | None = None) -> None:
        self._told = told
        self._target = target
        self._signals = opener.wanted.signals
        self._arrival: Arrival | None = None
        self._request: Request | None = None
        self._outcome: RequestOutcome | None = None
        self._port = opener.open(self._talk)
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
        return self._arrived.carrier.addressing.unit_at(target)

    def ask(self, request: Request) -> RequestOutcome:
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

    def _talk(self, carrier: Carrier) -> Talking:
        arrival = yield from arrive(carrier, self._signals, self._target)
        if not arrival.survey.heard:
            silence = carrier.silence()
            if self._target is None:
                yield silent_step(silence)
                raise silence.error()
            seen = f"{silence.seen} to the standard's requests"
            asked = f"{seen}; {self._target:X} is asked all the same"
            yield Step(RESPONDING, StepState.UNKNOWN, asked)
        self._arrival = arrival
        while True:
            while self._request is None:
                yield Pause(_IDLE_S)
            request, self._request = self._request, None
            self._outcome = yield from carrier.exchange(request)


def open_asker(address: Address, told: Told, target: int | None = None) -> Asker:
    """Open the link of `address` for single requests.

    Raises LinkError, and UsageError for a kind of link that asks nothing.
    """
    if not address.about_kind.transport:
        raise UsageError(f"{address.kind}: asks no questions: search on a serial: or can: link.")
    return TalkAsker(opener_of(address), told, target)


def open_again(
    opening: Callable[[], Asker],
    longest_s: float = AGAIN_S,
    sleep: Callable[[float], None] = time.sleep,
) -> Asker:
    """Return what `opening` opens, tried for up to `longest_s`; then its LinkError is raised."""
    until_s = time.monotonic() + longest_s
    while True:
        try:
            return opening()
        except LinkError:
            if time.monotonic() >= until_s:
                raise
            sleep(AGAIN_PAUSE_S)
