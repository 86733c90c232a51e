"""A kind of link that the tests define: a vehicle in memory that is asked through the driver."""

import time
from collections.abc import Callable, Generator, Sequence
from typing import Any

from tests.links.test_can_plan import WARM, Wire
from tests.vehicle.units import TestUnit
from warmwatch.core.notice import Notice
from warmwatch.links.address import Address
from warmwatch.links.asking.driver import Carrier, Exchanging, Pause, Silence, Talking, Wanted
from warmwatch.links.asking.patience import Patience
from warmwatch.links.asking.port import Found, TalkPort
from warmwatch.links.asking.request import Request
from warmwatch.links.asking.units import NORMAL, Addressing, Unit
from warmwatch.links.clock import Clock, SystemClock
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.signals import load_signal_file


class Memory:
    """A carrier without a wire."""

    room = 7
    everybody: Unit | None = None

    def __init__(self, name: str) -> None:
        self.patience = Patience(0.1)
        self.addressing: Addressing = NORMAL
        self._name = name
        engine = TestUnit(0x7E0, 0x7E8, pids={0x05: b"\x82", 0x0D: b"\x00"})
        self._wire = Wire(engine, TestUnit(0x7E1, 0x7E9, dids=dict(WARM)))

    def reach(self, target: int | None) -> Generator[Any, Any, Sequence[Addressing]]:
        yield Step("vehicle remembered", StepState.OK, self._name)
        return (NORMAL,)

    def exchange(self, request: Request) -> Exchanging:
        yield None
        return self._wire.outcome(request)

    def listen_on(self) -> Generator[Any, Any, bool]:
        yield None
        return False

    def notices(self) -> list[Notice]:
        return []

    def silence(self) -> Silence:
        return Silence("in memory", "silence", "remember better")


class MemoryPort(TalkPort):
    """Runs the talk; a pause is waited for."""

    def _begin(self, wish: Any) -> None:
        """Nothing is to be begun."""

    def _serve(self, found: list[Found]) -> bool:
        if isinstance(self._wish, Pause):
            time.sleep(min(self._wish.seconds, 0.05))
        self._go_on(None, found)
        return True


class Opener:
    """Opens a memory."""

    def __init__(self, address: Address) -> None:
        signals = load_signal_file(address.options["signals"]).signals
        self.wanted = Wanted(signals, poll_s=0.05)
        self.clock: Clock = SystemClock()
        self._name = address.rest

    def open(self, talking: Callable[[Carrier], Talking]) -> MemoryPort:
        return MemoryPort(talking(Memory(self._name)))


def opener_of(address: Address) -> Opener:
    """Return the opener of an address, as a kind's `transport` does."""
    return Opener(address)
