"""Puts the driver's requests on a CAN bus and collects the answers."""

import time
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass

from warmwatch.core.notice import Notice
from warmwatch.links.asking.driver import Exchanging, Silence
from warmwatch.links.asking.patience import LONGER_S, Patience
from warmwatch.links.asking.request import Exchange, Request
from warmwatch.links.asking.sessions import note_session
from warmwatch.links.asking.units import Addressing, Unit
from warmwatch.links.base import WAIT_S
from warmwatch.links.can.bitrate import Bitrates
from warmwatch.links.can.transport import Transport
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.signals import uds

SLOW_S = 2.0
"""A unit that is still working after this time is told."""
LONGEST_DRAIN_S = 8.0
MOST_OWED = 12
_RECEIVE_S = 0.02
_ADVICE = (
    "switch the ignition on (engine running only outdoors: exhaust gas), seat the plug, and check "
    "the bitrate (bitrate=)"
)
_TEXT = "check the cable, and give the speed of the adapter's port (tty_baudrate=)"
_BITRATE = "check the bitrate (bitrate=); only one tester may be on the bus"
_GATEWAY = (
    "switch the ignition on (engine running only outdoors: exhaust gas); this may be a bus that "
    "talks by itself: broadcast: listens to it"
)


@dataclass(frozen=True, slots=True)
class _Owed:
    """A request that met silence; its answer may still come."""

    request: Request
    asked_s: float


class CanCarrier:
    """Owns nothing: whoever made the transport closes it. Times are real.

    Requests that met silence are remembered for a while (`_owed`), so that a late answer is known
    as such and never taken for the answer to another request.
    """

    def __init__(
        self,
        transport: Transport,
        channel: str,
        bitrates: Bitrates,
        ways: Sequence[Addressing],
        patience: Patience,
    ) -> None:
        self.patience = patience
        self._transport = transport
        self._channel = channel
        self._bitrates = bitrates
        self._ways = transport.ways = ways
        self._told: set[str] = set()
        self._owed: list[_Owed] = []
        self._in_session: set[Unit] = set()
        self._notices: list[Notice] = []
        self._listened_on = False
        self.answered = False

    @property
    def addressing(self) -> Addressing:
        """The present way to reach units."""
        return self._transport.addressing

    @addressing.setter
    def addressing(self, addressing: Addressing) -> None:
        self._transport.addressing = addressing

    @property
    def everybody(self) -> Unit | None:
        return self.addressing.only

    @property
    def room(self) -> int:
        return 7 if self.addressing.only is None else 6

    def reach(self, target: int | None) -> Generator[Step, None, Sequence[Addressing]]:
        yield Step("interface opened", StepState.OK, self._channel)
        state = StepState.OK if self._bitrates.sure else StepState.UNKNOWN
        yield Step("bus speed", state, self._bitrates.words)
        return self._ways

    def exchange(self, request: Request) -> Exchanging:
        if request.delay_s:
            time.sleep(min(request.delay_s, WAIT_S))
        self.overhear()
        if request.patient or self.patience.is_late(request.unit):
            yield from self._drained(request.unit)
        self._transport.send(request.payload, request.unit)
        asked_s = time.monotonic()
        exchange = Exchange(request, asked_s, self.patience.wait_s(request))
        while self._transport.receiving or not exchange.finished(time.monotonic()):
            for unit, payload in self._transport.receive(_RECEIVE_S):
                self._take(exchange, request, unit, payload)
            yield from self._slowness(exchange, request, asked_s)
            yield None
        outcome = exchange.outcome
        note_session(self._in_session, request, outcome)
        self.answered = self.answered or not outcome.silent
        if outcome.silent:
            self._owed = [*self._owed[1 - MOST_OWED :], _Owed(request, asked_s)]
        yield from self.patience.heard(outcome.took_s)
        return outcome

    def leave(self) -> None:
        """Send every unit back to its default session; the link ends. May raise what a bus does."""
        for unit in self._in_session:
            self._transport.send(uds.DEFAULT_SESSION, unit)
        self._in_session.clear()

    def overhear(self) -> None:
        """Take what came by now: it belongs to no present request, and must not pile up."""
        for unit, payload in self._transport.receive(0):
            self._late(unit, payload)

    def listen_on(self) -> Generator[None, None, bool]:
        """Wait once for answers that take longer than the survey did, until no more come."""
        if self._listened_on:
            return False
        self._listened_on = True
        owed = len(self._owed)
        yield from self._quiet(lambda: not self._owed)
        late = len(self._owed) < owed
        self._owed.clear()
        return late

    def notices(self) -> list[Notice]:
        found, self._notices = self._notices, []
        return found

    def silence(self) -> Silence:
        where = f"on {self._channel}"
        if self._transport.no_text:
            return Silence(where, "the adapter sends something that is not text", _TEXT)
        if self.answered:
            return Silence(where, "units answered before and are silent now", _ADVICE)
        if self._transport.frames:
            return Silence(where, "the bus carries frames, but no unit answers", _GATEWAY)
        if self._transport.bus_errors:
            return Silence(where, "bus errors, and nothing that can be read", _BITRATE)
        return Silence(where, "silence", _ADVICE)

    def _take(self, exchange: Exchange, request: Request, unit: Unit, payload: bytes) -> None:
        here = self.addressing.sender(unit.answer_id, unit.wide) is not None
        if request.answered_by(payload) and (here or unit == request.unit):
            exchange.receive(unit, payload, time.monotonic())
        else:
            self._late(unit, payload)

    def _late(self, unit: Unit, payload: bytes) -> None:
        """Learn how late an answer to an earlier request is."""
        for owed in self._owed:
            if owed.request.unit in (None, unit) and owed.request.answered_by(payload):
                self._owed.remove(owed)
                took_s = time.monotonic() - owed.asked_s
                self._notices += self.patience.heard({unit: took_s})
                return

    def _drained(self, unit: Unit | None) -> Generator[None, None, None]:
        """Let a late unit answer what it was asked before: its answers must not be mixed up."""
        yield from self._quiet(lambda: not any(o.request.unit in (None, unit) for o in self._owed))
        self._owed = [owed for owed in self._owed if owed.request.unit not in (None, unit)]

    def _quiet(self, enough: Callable[[], bool]) -> Generator[None, None, None]:
        """Wait until `enough`, or until nothing came for LONGER_S."""
        began_s = last_s = time.monotonic()
        while not enough() and last_s - began_s < LONGEST_DRAIN_S:
            owed = len(self._owed)
            for unit, payload in self._transport.receive(_RECEIVE_S):
                self._late(unit, payload)
            if len(self._owed) < owed:
                last_s = time.monotonic()
            if time.monotonic() - last_s >= LONGER_S:
                return
            yield None

    def _slowness(self, exchange: Exchange, request: Request, asked_s: float) -> Iterator[Notice]:
        """Tell once that a unit is still working: it may be so for a minute."""
        if not exchange.waiting_for or time.monotonic() - asked_s < SLOW_S:
            return
        unit = exchange.waiting_for[0].label
        asked = f"{request.service:02X} {request.identifiers[0]:0{2 * request.width}X}"
        text = f"{unit} is asked for {asked} and is still working; warmwatch waits for it."
        if text not in self._told:
            self._told.add(text)
            yield Notice(text, alarm=True)
