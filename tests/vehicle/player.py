"""Plays the test vehicle's units on a bus, frame by frame, as shared/isotp_cases.csv lays out."""

import threading
import time
from collections.abc import Sequence
from typing import Protocol

from tests.vehicle.units import TestUnit
from warmwatch.links.python_can import can

FUNCTIONAL = {0x7DF, 0x18DB33F1}


class Wire(Protocol):
    """What the player needs of a bus."""

    def recv(self, timeout: float | None = None) -> can.Message | None: ...

    def send(self, msg: can.Message) -> None: ...

    def shutdown(self) -> None: ...


class Player:
    """A thread that owns one bus object; use it as a context manager, or call `run`."""

    def __init__(
        self, channel: str, units: Sequence[TestUnit], padding: int = 0x55, bus: Wire | None = None
    ) -> None:
        self.units = units
        self.requests: list[tuple[int, bytes]] = []
        self.frames: list[can.Message] = []
        self.at_s: list[float] = []
        self._padding = bytes([padding])
        self._bus: Wire = bus or can.Bus(interface="virtual", channel=channel)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self.run)

    def __enter__(self) -> "Player":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()
        self._bus.shutdown()

    def send(self, arbitration_id: int, data: bytes, wide: bool = False) -> None:
        """Put a raw frame on the bus, whatever it means."""
        message = can.Message(arbitration_id=arbitration_id, data=data, is_extended_id=wide)
        self._bus.send(message)

    def run(self) -> None:
        while not self._stop.is_set():
            message = self._bus.recv(0.02)
            if message is not None:
                self._heard(message)

    def _heard(self, message: can.Message) -> None:
        self.frames.append(message)
        self.at_s.append(time.monotonic())
        data = bytes(message.data)
        for unit in self.units:
            functional = message.arbitration_id in FUNCTIONAL
            if message.arbitration_id != unit.request_id and not functional:
                continue
            if functional and message.is_extended_id != (unit.request_id > 0x7FF):
                continue
            inner = data if unit.extension is None else data[1:]
            if unit.extension is not None and data[0] != unit.extension:
                continue
            if inner[0] >> 4 == 0:
                self._answer(unit, inner[1 : 1 + (inner[0] & 0x0F)], functional)

    def _answer(self, unit: TestUnit, request: bytes, functional: bool) -> None:
        if not functional and not unit.physical:
            return
        self.requests.append((unit.request_id, request))
        for payload in unit.answers(request, functional):
            time.sleep(unit.delay_s if payload else unit.pending_s)
            if payload:
                self._play(unit, payload)

    def _play(self, unit: TestUnit, payload: bytes) -> None:
        prefix = b"" if unit.extension is None else bytes([unit.tester])
        room = 7 - len(prefix)
        if len(payload) <= room:
            self._frame(unit, prefix + bytes([len(payload)]) + payload)
            return
        first = (0x1000 | len(payload)).to_bytes(2, "big") + payload[: room - 1]
        self._frame(unit, prefix + first)
        if not self._flow_control(unit):
            return
        rest = payload[room - 1 :]
        for number, at in enumerate(range(0, len(rest), room), start=1):
            self._frame(unit, prefix + bytes([0x20 | number & 0x0F]) + rest[at : at + room])

    def _frame(self, unit: TestUnit, data: bytes) -> None:
        self.send(unit.answer_id, data.ljust(8, self._padding), unit.answer_id > 0x7FF)

    def _flow_control(self, unit: TestUnit) -> bool:
        until = time.monotonic() + 1.0
        while time.monotonic() < until:
            message = self._bus.recv(0.1)
            if message is None or message.arbitration_id != unit.request_id:
                continue
            self.frames.append(message)
            inner = bytes(message.data)[0 if unit.extension is None else 1 :]
            if inner[0] >> 4 == 3:
                return inner[0] & 0x0F == 0
        return False
