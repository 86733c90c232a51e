"""`doip:HOST`: asks a vehicle on Ethernet (ISO 13400), and only ever reads.

`doip:` alone asks the local network who is there. Options: `unit=HEX` the logical address of the
unit to ask (else the one that the entity says is its own), `signals=FILE` the vehicle's own
identifiers (`target` is a logical address there), `poll=SECONDS`, `answer=SECONDS`, `port=NUMBER`.
"""

import time
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field
from typing import Any

from warmwatch.core.notice import Notice
from warmwatch.errors import LinkLost, UsageError
from warmwatch.links.address import Address
from warmwatch.links.asking.driver import Carrier, Exchanging, Pause, Silence, Talking, Wanted
from warmwatch.links.asking.patience import Patience
from warmwatch.links.asking.port import Found, TalkPort
from warmwatch.links.asking.request import Exchange, Request
from warmwatch.links.asking.units import Addressing, Unit
from warmwatch.links.base import WAIT_S
from warmwatch.links.can.bus import seconds_option
from warmwatch.links.clock import Clock, SystemClock
from warmwatch.links.doip.entity import PORT, Entity, address_of, identify
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.signals import load_signal_file

_OPTIONS = ("unit", "signals", "poll", "answer", "port")
_RECEIVE_S = 0.02
_ROOM = 64
"""Bytes of a request: far more than what is asked at once."""
_ADVICE = (
    "switch the ignition on (engine running only outdoors: exhaust gas), and name the unit's "
    "logical address (unit=)"
)


class LogicalUnit(Unit):
    """A unit at a logical address of 16 bits."""

    __slots__ = ()

    @property
    def label(self) -> str:
        return f"{self.answer_id:04X}"


class Logical(Addressing):
    """Units by logical addresses; no address reaches all of them."""

    __slots__ = ()

    def unit_at(self, target: int, answer_id: int | None = None) -> Unit:
        return LogicalUnit(target if answer_id is None else answer_id, target)

    def sender(self, answer_id: int, wide: bool) -> Unit | None:
        return LogicalUnit(answer_id, answer_id)


LOGICAL = Logical("logical", None)


@dataclass(frozen=True, slots=True)
class DoipSettings:
    """How to reach a vehicle. Times in seconds."""

    host: str
    port: int = PORT
    unit: int | None = None
    wanted: Wanted = field(default_factory=Wanted)
    answer_s: float = 0.5


class DoipCarrier:
    """Puts the driver's requests to the units behind one entity. Times are real."""

    room = _ROOM

    def __init__(self, entity: Entity, unit: int, patience: Patience) -> None:
        self.patience = patience
        self.addressing: Addressing = LOGICAL
        self._entity = entity
        self._unit = LOGICAL.unit_at(unit)

    @property
    def everybody(self) -> Unit:
        return self._unit

    def reach(self, target: int | None) -> Generator[Step, None, Sequence[Addressing]]:
        yield Step("vehicle on the network", StepState.OK, self._entity.name)
        yield Step("routing activated", StepState.OK, f"unit {self._unit.label} is asked")
        return (LOGICAL,)

    def exchange(self, request: Request) -> Exchanging:
        if request.delay_s:
            time.sleep(min(request.delay_s, WAIT_S))
        self._entity.receive(0.0)  # what is late by now belongs to no request
        unit = request.unit or self._unit
        self._entity.refused.clear()
        self._entity.send(unit.request_id, request.payload)
        asked_s = time.monotonic()
        exchange = Exchange(request, asked_s, self.patience.wait_s(request))
        while not exchange.finished(time.monotonic()) and not self._entity.refused:
            for address, payload in self._entity.receive(_RECEIVE_S):
                if address == unit.answer_id and request.answered_by(payload):
                    exchange.receive(unit, payload, time.monotonic())
            yield None
        outcome = exchange.outcome
        yield from self.patience.heard(outcome.took_s)
        return outcome

    def overhear(self) -> None:
        """Take what comes between polls: the entity asks whether we are alive."""
        self._entity.receive(0.0)

    def listen_on(self) -> Generator[None, None, bool]:
        """Nothing more comes."""
        yield from ()
        return False

    def notices(self) -> list[Notice]:
        return []

    def silence(self) -> Silence:
        where = f"at {self._entity.name}"
        if self._entity.refused:
            seen = f"the vehicle has no unit at {self._unit.label}"
            return Silence(where, seen, "name another logical address (unit=)")
        return Silence(where, "the vehicle is reached, but its units are silent", _ADVICE)


class DoipPort(TalkPort):
    """One connection, with a talk on it."""

    def __init__(self, entity: Entity, carrier: DoipCarrier, talk: Talking, clock: Clock) -> None:
        super().__init__(talk, clock.elapsed_s)
        self._entity = entity
        self._carrier = carrier
        self._clock = clock
        self._until_s = 0.0

    def close(self) -> None:
        super().close()
        self._entity.close()

    def _begin(self, wish: Any) -> None:
        seconds = wish.seconds if isinstance(wish, Pause) else 0.0
        self._until_s = self._now_s() + seconds

    def _serve(self, found: list[Found]) -> bool:
        left_s = self._until_s - self._now_s()
        if left_s > 0 and isinstance(self._wish, Pause):
            self._clock.wait(min(left_s, _RECEIVE_S))
            self._carrier.overhear()
            return False
        self._go_on(None, found)
        return True


class DoipOpener:
    """Connects again and again, each time with a talk on it."""

    def __init__(self, settings: DoipSettings) -> None:
        self.wanted = settings.wanted
        self.clock: Clock = SystemClock()
        self._settings = settings
        self._patience = Patience(settings.answer_s)
        self._unit = settings.unit

    def open(self, talking: Callable[[Carrier], Talking]) -> DoipPort:
        """Return a connection that runs the talk. Raises LinkLost."""
        settings = self._settings
        host = address_of(settings.host) if settings.host else ""
        seen = identify(host, settings.port)
        host, own = seen if seen is not None else (host, None)
        if not host:
            raise LinkLost(
                "No vehicle answers on this computer's network: check the cable and the ignition, "
                "or name its address (doip:HOST)."
            )
        self._unit = self._unit if own is None or settings.unit is not None else own
        entity = Entity(host, settings.port)
        if self._unit is None:
            entity.close()
            raise LinkLost(
                f"{host} does not say which unit it is: name its logical address (unit=), in hex "
                "digits."
            )
        carrier = DoipCarrier(entity, self._unit, self._patience)
        return DoipPort(entity, carrier, talking(carrier), self.clock)


def opener_of(address: Address) -> DoipOpener:
    """Return the opener of a `doip:` address. Raises UsageError."""
    return DoipOpener(settings_of(address))


def settings_of(address: Address) -> DoipSettings:
    """Return the settings in an address's options; UsageError says which one is wrong."""
    options = address.options
    unknown = [name for name in options if name not in _OPTIONS]
    if unknown:
        raise UsageError(f"doip: has no option {unknown[0]!r}; it has {', '.join(_OPTIONS)}.")
    signals = load_signal_file(options["signals"]).signals if "signals" in options else ()
    return DoipSettings(
        host=address.rest.strip("[]/"),
        port=_number(options.get("port", str(PORT)), 10, "port"),
        unit=_number(options["unit"], 16, "unit") if "unit" in options else None,
        wanted=Wanted(signals, seconds_option(options, "poll", 1.0)),
        answer_s=seconds_option(options, "answer", 0.5),
    )


def _number(text: str, base: int, name: str) -> int:
    try:
        number = int(text, base)
    except ValueError:
        number = 0
    if not 0 < number <= 0xFFFF:
        what = "a logical address in hex digits, such as 1010" if base == 16 else "a port's number"
        raise UsageError(f"{name}={text} is not {what}.")
    return number
