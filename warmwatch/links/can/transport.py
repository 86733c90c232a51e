"""ISO-TP on a CAN bus: requests out as single frames, payloads in by can-isotp.

`Transport._transmit` is the only function of warmwatch that sends on a CAN bus. It lets through
requests that read and the flow control of their answers, and nothing else.
"""

import logging
from collections import deque
from collections.abc import Sequence
from typing import TYPE_CHECKING

from warmwatch.links.asking.units import NORMAL, Addressing, Unit
from warmwatch.links.can.bus import close_bus
from warmwatch.links.can.frames import FrameReader, UnreadableFrame
from warmwatch.links.python_can import isotp
from warmwatch.signals.isotp import frame_fault, single_frame
from warmwatch.signals.readonly import NotReading, check_reading

if TYPE_CHECKING:
    import can

_LOGGER = "warmwatch.isotp"
logging.getLogger(_LOGGER).addHandler(logging.NullHandler())
logging.getLogger("can").addHandler(logging.NullHandler())

PADDING = 0xCC
_FLOW_CONTROL = 0x30
_CONSECUTIVE = 2
_LONGEST_ANSWER = 512
"""Longer than any answer to what we ask; a unit that announces more is told that it is too much."""
_PARAMS = {
    "tx_padding": PADDING,
    "blocksize": 0,
    "stmin": 0,
    "max_frame_size": _LONGEST_ANSWER,
    "logger_name": _LOGGER,
}
_MOST_AT_ONCE = 2000


class Transport:
    """Owns one bus object; `receive` is its only wait.

    `extended`: the extended session may be asked for, of one unit and never of all. `addressing`
    is the present way to reach units; answers by any of `ways` are received, too.
    """

    def __init__(self, bus: "can.BusABC", addressing: Addressing = NORMAL) -> None:
        self._bus = bus
        self._reader = FrameReader(bus)
        self.addressing = addressing
        self.ways: Sequence[Addressing] = (addressing,)
        self.extended = False
        self._layers: dict[tuple[int, bool], _Layer] = {}
        self.bus_errors = 0
        self.frames = 0

    def send(self, payload: bytes, unit: Unit | None) -> None:
        """Send a request to one unit, or to all when `unit` is None."""
        if unit is None:
            functional = self.addressing.functional_id
            if functional is None:
                raise ValueError("there is no address that reaches every unit")
            self._transmit(functional, functional > 0x7FF, b"", single_frame(payload, PADDING))
            return
        self._layer(unit)
        prefix = b"" if unit.target is None else bytes([unit.target])
        frame = single_frame(payload, PADDING)[: 8 - len(prefix)]
        self._transmit(unit.request_id, unit.wide, prefix, frame)

    def receive(self, timeout_s: float) -> list[tuple[Unit, bytes]]:
        """Wait up to `timeout_s` for a frame and return the payloads that are complete."""
        for taken in range(_MOST_AT_ONCE):
            try:
                message = self._reader.receive(0.0 if taken else timeout_s)
            except UnreadableFrame:
                self.bus_errors += 1
                continue
            if message is None:
                break
            self._take(message)
        return [got for layer in list(self._layers.values()) for got in layer.payloads()]

    @property
    def no_text(self) -> bool:
        """True when what came last from a serial adapter was no text of its protocol."""
        return self._reader.no_text > 0

    @property
    def receiving(self) -> bool:
        """True while a segmented answer is half there."""
        return any(layer.receiving for layer in self._layers.values())

    def close(self) -> None:
        """Free the bus."""
        close_bus(self._bus)

    def _take(self, message: "can.Message") -> None:
        if message.is_error_frame:
            self.bus_errors += 1
            return
        if message.is_remote_frame:
            return
        self.frames += 1
        key = (message.arbitration_id, message.is_extended_id)
        layer = self._layers.get(key)
        if layer is None:
            found = (way.sender(*key) for way in (self.addressing, *self.ways))
            unit = next((unit for unit in found if unit is not None), None)
            if unit is None:
                return
            layer = self._layer(unit)
        layer.take(bytes(message.data))

    def _layer(self, unit: Unit) -> "_Layer":
        key = (unit.answer_id, unit.wide)
        layer = self._layers.get(key)
        if layer is None or layer.unit != unit:
            layer = self._layers[key] = _Layer(unit, self)
        return layer

    def _transmit(self, arbitration_id: int, wide: bool, prefix: bytes, frame: bytes) -> None:
        from warmwatch.links.python_can import can

        if frame[0] & 0xF0 != _FLOW_CONTROL:
            if frame[0] >> 4:
                raise NotReading("refused to send a request of more than one frame")
            extended = self.extended and arbitration_id != self.addressing.functional_id
            check_reading(frame[1 : 1 + frame[0]], extended=extended)
        self._bus.send(
            can.Message(arbitration_id=arbitration_id, is_extended_id=wide, data=prefix + frame),
            timeout=1.0,
        )


class _Layer:
    """One unit's answers, put together by can-isotp."""

    def __init__(self, unit: Unit, transport: Transport) -> None:
        self.unit = unit
        self._transport = transport
        self._frames: deque[isotp.CanMessage] = deque()
        self._logic = isotp.TransportLayerLogic(
            rxfn=self._next_frame,
            txfn=self._flow_control,
            address=_isotp_address(unit),
            params=_PARAMS,
        )

    @property
    def receiving(self) -> bool:
        return self._logic.rx_state != self._logic.RxState.IDLE

    def take(self, data: bytes) -> None:
        prefix = 0 if self.unit.target is None else 1
        # can-isotp takes first frames that the standard says to ignore, and segments that are too
        # short, which would shift all that follows; they stop here.
        if frame_fault(data[prefix:], extended=prefix == 1):
            return
        if self._too_short(data[prefix:]):
            self._logic.stop_receiving()
            return
        message = isotp.CanMessage(
            arbitration_id=self.unit.answer_id, data=data, extended_id=self.unit.wide
        )
        self._frames.append(message)
        self._logic.process()

    def _too_short(self, frame: bytes) -> bool:
        if frame[0] >> 4 != _CONSECUTIVE or not self.receiving:
            return False
        room = 7 if self.unit.target is None else 6
        missing = self._logic.rx_frame_length - len(self._logic.rx_buffer)
        return len(frame) - 1 < min(room, missing)

    def payloads(self) -> list[tuple[Unit, bytes]]:
        self._logic.process()  # its timers run out also when no frame comes
        found = []
        while (payload := self._logic.recv()) is not None:
            found.append((self.unit, bytes(payload)))
        return found

    def _next_frame(self, _timeout_s: float) -> isotp.CanMessage | None:
        return self._frames.popleft() if self._frames else None

    def _flow_control(self, message: isotp.CanMessage) -> None:
        prefix = 0 if self.unit.target is None else 1
        data = bytes(message.data)
        self._transport._transmit(
            self.unit.request_id, self.unit.wide, data[:prefix], data[prefix:]
        )


def _isotp_address(unit: Unit) -> isotp.Address:
    mode = isotp.AddressingMode
    if unit.target is not None:
        kind = mode.Extended_29bits if unit.wide else mode.Extended_11bits
        return isotp.Address(
            kind,
            txid=unit.request_id,
            rxid=unit.answer_id,
            target_address=unit.target,
            source_address=unit.tester,
        )
    kind = mode.Normal_29bits if unit.wide else mode.Normal_11bits
    return isotp.Address(kind, txid=unit.request_id, rxid=unit.answer_id)
