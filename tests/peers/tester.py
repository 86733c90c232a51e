"""A tester and two units, by udsoncan and can-isotp: `python -m tests.peers.tester TO POLLS`.

Where TO ends in .log it is the log of all frames, written by python-can at full speed as if a poll
came each second; else it is a port (slcan text) on which they are seen as they happen, one poll
each 0.2 s. Unit 7E9 has the fluid as `22 1234`, byte 10 of 20, in degC + 40, 50 degC at first and
0.5 more with each poll, and refuses `22 9999`; unit 7E8 answers `01 05 0C` to all. With a third
argument `warm` a poll stands for 5 s, fluid and coolant warm up from 18 degC, and the answer holds
a counter, too. The numbers are invented. Sent by 7E1 and 7DF; flow control and segmentation are
can-isotp's.
"""

import math
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

from udsoncan.connections import PythonIsoTpConnection

from tests.peers.text_end import TextEnd
from warmwatch.links.python_can import can, isotp

CHANNEL = "tester"
START_C, STEP_C, RECORD = 50.0, 0.5, 20
AMBIENT_C, WARM_POLL_S = 18.0, 5.0


def main() -> None:
    """Poll, and let all frames be seen."""
    to, polls, warm = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3:] == ["warm"]
    tap = can.Bus(interface="virtual", channel=CHANNEL)
    if to.suffix == ".log":
        with can.Logger(to) as writer:
            scale = WARM_POLL_S if warm else 1.0
            _poll(tap, polls, lambda frame, at: _write(writer, frame, at * scale), 0.0, warm)
    else:
        end = TextEnd(to)
        _poll(tap, polls, lambda frame, _: _show(end, frame), 0.2, warm)


def _write(writer: Callable[[can.Message], None], frame: can.Message, at_s: float) -> None:
    frame.timestamp = 1_700_000_000.0 + at_s
    writer(frame)


def _show(end: TextEnd, frame: can.Message) -> None:
    end.send(frame.arbitration_id, frame.is_extended_id, bytes(frame.data))


def _poll(
    tap: can.BusABC,
    polls: int,
    seen: Callable[[can.Message, float], None],
    pause_s: float,
    warm: bool,
) -> None:
    units = [Unit(0x7E1, 0x7E9, warm), Unit(0x7DF, 0x7E8, warm)]
    gearbox = _connection(0x7E1, 0x7E9)
    everybody = _connection(0x7DF, 0x7E8)
    for poll in range(polls):
        for connection, request in (
            (gearbox, b"\x22\x12\x34"),
            (everybody, b"\x01\x05\x0c"),
            (gearbox, b"\x22\x99\x99"),
        ):
            connection.send(request)
            assert connection.wait_frame(timeout=2.0)
            time.sleep(0.002)
        number = 0
        while (frame := tap.recv(0.01)) is not None:
            seen(frame, poll + number / 1000)
            number += 1
        for unit in units:
            unit.polls = poll + 1
        time.sleep(pause_s)


class Unit:
    """A control unit on a thread of its own."""

    def __init__(self, asked_id: int, answer_id: int, warm: bool) -> None:
        self.polls = 0
        self._warm = warm
        self._stack = _stack(asked_id, answer_id, unit=True)
        threading.Thread(target=self._answer, daemon=True).start()

    def _answer(self) -> None:
        while True:
            request = self._stack.recv(block=True, timeout=1.0)
            if request is not None:
                self._stack.send(self._payload(bytes(request)))

    def _payload(self, request: bytes) -> bytes:
        if request == b"\x22\x12\x34":
            record = bytearray(range(RECORD))
            record[10] = round(self._fluid_c()) + 40
            record[11] = self.polls % 256
            return b"\x62\x12\x34" + record
        if request == b"\x01\x05\x0c":
            coolant_c = self._towards(90.0, 230.0) if self._warm else 90.0
            return b"\x41\x05" + bytes([round(coolant_c) + 40]) + b"\x0c\x0c\x30"
        return bytes([0x7F, request[0], 0x31])

    def _fluid_c(self) -> float:
        return self._towards(95.0, 550.0) if self._warm else START_C + STEP_C * self.polls

    def _towards(self, goal_c: float, time_constant_s: float) -> float:
        gone = math.exp(-self.polls * WARM_POLL_S / time_constant_s)
        return goal_c + (AMBIENT_C - goal_c) * gone


def _connection(asked_id: int, answer_id: int) -> PythonIsoTpConnection:
    connection = PythonIsoTpConnection(_stack(asked_id, answer_id, unit=False))
    return connection.open()


def _stack(asked_id: int, answer_id: int, *, unit: bool) -> isotp.CanStack:
    mine, far = (answer_id, asked_id) if unit else (asked_id, answer_id)
    address = isotp.Address(isotp.AddressingMode.Normal_11bits, txid=mine, rxid=far)
    bus = can.Bus(interface="virtual", channel=CHANNEL)
    stack = isotp.CanStack(bus, address=address, params={"tx_padding": 0x55})
    if unit:
        stack.start()
    return stack


if __name__ == "__main__":
    main()
