"""A test vehicle that warms up: an engine unit and a gearbox unit with many identifiers, invented.

`warm@PACE@STANDING` is a vehicle that stands until its fluid is asked for the second time and for
STANDING seconds more. So however late somebody comes on a loaded machine, it is found cold. Then
it is started (the voltage dips while the starter turns, and nobody answers for CRANK_S), and lives
PACE times as fast.
`bare@PACE@STANDING` is one without the standard's services: only 22, and only for its own unit.
"""

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

from tests.vehicle.units import TestUnit

AMBIENT_C = 18.0
CRANK_S = 1.5
FLUID_IDENTIFIER = 0x1107
FLUID_BYTE = 2


@dataclass
class Warming:
    """The truth about the vehicle; seconds are of the monotonic clock.

    It stands until `start_s`, which `begun` is told, and for `standing_s` more.
    """

    pace: float
    standing_s: float
    start_s: float = math.inf
    begun: Callable[[float], None] = lambda _start_s: None
    asked: int = 0

    def ask(self) -> float:
        """The fluid, to somebody who asks for it."""
        self.asked += 1
        if self.asked == 2:
            self.start_s = time.monotonic()
            self.begun(self.start_s)
        return self.fluid_c()

    def started_s(self) -> float:
        """Real seconds since the starter turned; negative before."""
        return time.monotonic() - self.start_s - self.standing_s

    def age_s(self) -> float:
        return max(0.0, self.started_s() - CRANK_S) * self.pace

    def cranking(self) -> bool:
        return 0.0 <= self.started_s() < CRANK_S

    def towards(self, goal_c: float, time_constant_s: float, from_c: float = AMBIENT_C) -> float:
        """First order: what is heated towards `goal_c`."""
        return goal_c + (from_c - goal_c) * math.exp(-self.age_s() / time_constant_s)

    def fluid_c(self) -> float:
        return self.towards(95.0, 550.0)

    def coolant_c(self) -> float:
        return self.towards(90.0, 230.0)


class LiveUnit(TestUnit):
    """Computes its records when it is asked for them, and is mute while the starter turns."""

    truth: Warming
    live: dict[int, Callable[[], bytes]]

    def answers(self, request: bytes, functional: bool) -> list[bytes]:
        return [] if self.truth.cranking() else super().answers(request, functional)

    def _pid(self, pid: int) -> bytes:
        return self.live[pid]() if pid in self.live else super()._pid(pid)

    def _did(self, did: int) -> bytes:
        return self.live[did]() if did in self.live else super()._did(did)


def two(number: float) -> bytes:
    return round(number).to_bytes(2, "big", signed=number < 0)


def vehicle(text: str, begun: Callable[[float], None]) -> list[TestUnit]:
    """Return the units of `warm@PACE@STANDING` or `bare@PACE@STANDING`."""
    kind, pace, standing_s = text.split("@")
    truth = Warming(float(pace), float(standing_s), begun=begun)
    gearbox = LiveUnit(0x7E1, 0x7E9, service_01=False)
    gearbox.truth, gearbox.live = truth, _gearbox(truth)
    gearbox.dids = {0x1101: b"\x82", 0x1105: b"AB12", 0x110C: bytes(20)}
    if kind == "bare":
        return [gearbox]
    engine = LiveUnit(0x7E0, 0x7E8, pids=dict.fromkeys((0x05, 0x0C, 0x0D, 0x42, 0x46), b"\0"))
    engine.truth, engine.live = truth, _engine(truth)
    return [engine, gearbox]


def _engine(truth: Warming) -> dict[int, Callable[[], bytes]]:
    running = 0x0C
    return {
        0x05: lambda: bytes([round(truth.coolant_c()) + 40]),
        running: lambda: two(4 * 780 if truth.started_s() > 0 else 0),
        0x0D: lambda: b"\0",
        0x42: lambda: two(13900 if truth.started_s() > 2 * CRANK_S else _volts(truth)),
        0x46: lambda: bytes([round(AMBIENT_C) + 40]),
    }


def _volts(truth: Warming) -> int:
    return 10200 if truth.started_s() > 0 else 12600  # still low just after the starter


def _gearbox(truth: Warming) -> dict[int, Callable[[], bytes]]:
    """The fluid, among what else a gearbox may tell: each at a scale of its own."""
    return {
        0x1102: lambda: bytes([round(truth.coolant_c()) + 40]),  # the coolant, passed on
        0x1103: lambda: two(780 + 15 * math.sin(truth.age_s())) + two(770),  # shaft speeds
        0x1104: lambda: two(truth.age_s()),  # a clock
        0x1106: lambda: two(10 * truth.towards(46.0, 900.0, from_c=29.0)),  # its own circuit board
        FLUID_IDENTIFIER: lambda: b"\x05\x80" + two(16 * (truth.ask() + 40)) + b"\0",
        0x1108: lambda: bytes([round(truth.fluid_c() + 25 * math.sin(truth.age_s() / 9)) + 60]),
        0x110A: lambda: two(100 * truth.towards(6.0, 300.0, from_c=9.0)),  # a pressure that falls
        0x110B: lambda: two(13900 + 40 * math.sin(truth.age_s() * 3)),  # a voltage
    }
