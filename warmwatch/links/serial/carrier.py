"""Puts the driver's requests through an AT-command text adapter. No I/O."""

from collections.abc import Generator, Sequence
from dataclasses import dataclass

from warmwatch.core.notice import Notice
from warmwatch.links.asking.driver import Exchanging, Silence
from warmwatch.links.asking.patience import Patience
from warmwatch.links.asking.request import Request
from warmwatch.links.asking.units import NORMAL, Addressing, Unit
from warmwatch.links.serial.adapter import Headers
from warmwatch.links.serial.exchange import TextBus, request_text
from warmwatch.links.serial.greeting import greet
from warmwatch.links.serial.talk import (
    IGNITION,
    Bus,
    Wish,
    battery,
    find_bus,
    set_up,
)
from warmwatch.links.tally import Tally
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.signals import Signal, standard_table

LOW_VOLTS = 11.5
ROOM = 7


@dataclass(slots=True)
class Adapting:
    """How to set an adapter up. `bauds` are tried in this order; the one that answered leads."""

    bus: Bus = Bus.AUTO
    bauds: tuple[int | None, ...] = (None,)
    always_wait: bool = False
    extended: bool = False

    def found(self, baud: int | None) -> None:
        """Try `baud` first from now on."""
        self.bauds = (baud, *(other for other in self.bauds if other != baud))


class TextCarrier:
    """One adapter. Its own single frame takes ROOM bytes; a K-line takes one identifier at once."""

    def __init__(
        self,
        port_name: str,
        adapting: Adapting,
        signals: Sequence[Signal],
        tally: Tally,
        patience: Patience,
    ) -> None:
        self._port_name = port_name
        self.patience = patience
        self.addressing: Addressing = NORMAL
        self._adapting = adapting
        self._signals = signals
        self._tally = tally
        self._bus: TextBus | None = None
        self.room = ROOM

    @property
    def everybody(self) -> Unit | None:
        return self._text_bus.everybody

    def reach(self, target: int | None) -> Generator[Wish, str | None, Sequence[Addressing]]:
        yield Step("port opened", StepState.OK, self._port_name)
        name, baud = yield from greet(self._adapting.bauds)
        self._adapting.found(baud)
        called = f"it calls itself {name!r}" if name else "it does not say what it is"
        yield Step("adapter answers", StepState.OK, called)
        yield from set_up(self._adapting.bus)
        yield _battery_step((yield from battery()))
        plain = [signal for signal in self._signals if not signal.session]
        own = [request_text(Request(signal.service, (signal.identifier,))) for signal in plain]
        adapter = yield from find_bus(self._adapting.bus, own, target)
        self._bus = TextBus(
            adapter,
            (*self._signals, *standard_table()),
            self._tally,
            self.patience,
            always_wait=self._adapting.always_wait,
            extended=self._adapting.extended,
        )
        self.room = 1 if adapter.headers is Headers.K_LINE else ROOM
        return (adapter.addressing,)

    def exchange(self, request: Request) -> Exchanging:
        return (yield from self._text_bus.exchange(request))

    def farewell(self) -> list[str]:
        """Return what sends every unit back to its default session."""
        return [] if self._bus is None else self._bus.farewell()

    def listen_on(self) -> Generator[Wish, str | None, bool]:
        """Nothing more comes: an adapter prints only what it is asked for."""
        yield from ()
        return False

    def notices(self) -> list[Notice]:
        return self._tally.due()

    def silence(self) -> Silence:
        return Silence("through the adapter, which works", "silence", IGNITION)

    @property
    def extended(self) -> bool:
        """True when a unit may be asked for its extended session."""
        return self._adapting.extended

    @property
    def _text_bus(self) -> TextBus:
        assert self._bus is not None
        return self._bus


def _battery_step(volts: float | None) -> Step:
    name = "voltage at the plug"
    if volts is None:
        return Step(name, StepState.UNKNOWN, "the adapter cannot tell")
    if volts < LOW_VOLTS:
        advice = "charge the battery or check the plug's supply"
        return Step(name, StepState.UNKNOWN, f"{volts:.1f} V is low", advice)
    return Step(name, StepState.OK, f"{volts:.1f} V")
