"""The invented units on a python-can bus: ISO-TP by can-isotp, one thread for all of them."""

import threading
from collections import deque
from collections.abc import Callable, Sequence

from warmwatch.demo.simulation import State
from warmwatch.demo.unit import ControlUnit
from warmwatch.links.python_can import can, isotp

FUNCTIONAL_ID = 0x7DF
_IDLE_S = 0.05
_BUSY_S = 0.001
_PARAMS = {"tx_padding": 0x00, "stmin": 0, "blocksize": 0}


class _Station:
    """One unit's transport layers: what is sent to it alone, and what is sent to all."""

    def __init__(self, bus: can.BusABC, unit: ControlUnit) -> None:
        self.unit = unit
        self._bus = bus
        self._inbox: deque[isotp.CanMessage] = deque()
        self._to_all: deque[isotp.CanMessage] = deque()
        self.own = self._layer(unit.request_id, self._inbox)
        self.all = self._layer(FUNCTIONAL_ID, self._to_all)

    def _layer(self, request_id: int, inbox: deque[isotp.CanMessage]) -> isotp.TransportLayerLogic:
        address = isotp.Address(rxid=request_id, txid=self.unit.answer_id)
        return isotp.TransportLayerLogic(
            rxfn=lambda _timeout: inbox.popleft() if inbox else None,
            txfn=self._send,
            address=address,
            params=_PARAMS,
        )

    def _send(self, message: isotp.CanMessage) -> None:
        self._bus.send(
            can.Message(
                arbitration_id=message.arbitration_id, data=message.data, is_extended_id=False
            )
        )

    def take(self, frame: can.Message) -> None:
        """Sort one frame from the bus into the layers, if it is for this unit."""
        message = isotp.CanMessage(frame.arbitration_id, data=bytes(frame.data))
        if frame.arbitration_id == self.unit.request_id:
            self._inbox.append(message)
        elif frame.arbitration_id == FUNCTIONAL_ID:
            self._to_all.append(message)

    def requests(self) -> list[tuple[bytes, bool]]:
        """Return the requests that are whole now, each with whether it was sent to all."""
        found = []
        for layer, functional in ((self.own, False), (self.all, True)):
            layer.process()
            while (payload := layer.recv()) is not None:
                found.append((bytes(payload), functional))
        return found


class VehicleBus:
    """Answers for `units` on a bus, from the state that `look` returns, from start to close."""

    def __init__(
        self, bus: can.BusABC, units: Sequence[ControlUnit], look: Callable[[], State]
    ) -> None:
        self._bus = bus
        self._stations = [_Station(bus, unit) for unit in units]
        self._look = look
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to answer."""
        self._thread = threading.Thread(target=self._run, name="vehicle", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop answering and close the bus; may be called twice."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=2.0)
        self._bus.shutdown()

    def _run(self) -> None:
        while not self._stop.is_set():
            sending = any(station.own.transmitting() for station in self._stations)
            frame = self._bus.recv(_BUSY_S if sending else _IDLE_S)
            for station in self._stations:
                if frame is not None and not frame.is_error_frame:
                    station.take(frame)
                for request, functional in station.requests():
                    self._answer(station, request, functional)

    def _answer(self, station: _Station, request: bytes, functional: bool) -> None:
        for answer in station.unit.answers(request, self._look(), functional):
            if answer.after_s:
                self._stop.wait(answer.after_s)
            station.own.send(answer.payload)
            station.own.process()


def open_virtual(
    channel: str, units: Sequence[ControlUnit], look: Callable[[], State]
) -> VehicleBus:
    """Return the units on python-can's in-process bus `channel`, already answering."""
    bus = can.Bus(interface="virtual", channel=channel)
    vehicle_bus = VehicleBus(bus, units, look)
    vehicle_bus.start()
    return vehicle_bus
