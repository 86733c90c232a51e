"""An ECU that nobody here wrote: scapy's answering machine and ISO-TP, as a program of its own.

    python tests/standins/scapy_ecu.py             frames as text (slcan) on a pseudo-terminal
    python tests/standins/scapy_ecu.py --text      behind the text adapter of text_adapter.py

scapy (GPL) gives the sessions, the encoding of answers and, with frames, the segmentation; the
faults and the adapters are ours. It prints one JSON line (`address`, `start`), then obeys lines on
standard input: `fault NAME [NUMBER]`. It shares no code with warmwatch.

An engine unit (7E0/7E8) serves service 01; a gearbox unit (7E1/7E9) serves the fluid, 85.3 degC, as
22 1234, as 21 05, and in the extended session only as 22 2345.
"""

import argparse
import json
import os
import pty
import queue
import random
import selectors
import sys
import threading
import time
import tty
from collections.abc import Callable
from pathlib import Path
from typing import Any

import scapy.contrib.automotive.uds_ecu_states  # noqa: F401 - it teaches the machine sessions
from scapy.contrib.automotive.ecu import EcuAnsweringMachine, EcuResponse, EcuState
from scapy.contrib.automotive.uds import UDS
from scapy.contrib.isotp.isotp_soft_socket import ISOTPSoftSocket
from scapy.layers.can import CAN
from scapy.packet import Packet
from scapy.supersocket import SuperSocket

sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.standins.text_adapter import Adapter

FUNCTIONAL = 0x7DF
LATE_S = 0.8
UNSAID = (0x10, 0x11, 0x12, 0x31)
"""Codes that nobody sends as an answer to a request to all (ISO 14229-1)."""


class Faults:
    """What goes wrong; `name` says what, `number` which code or how long."""

    def __init__(self) -> None:
        self.name, self.number, self.count = "none", 0.0, 0
        self.log: Path | None = None

    def set(self, name: str, number: float) -> None:
        self.name, self.number, self.count = name, number, 0

    def refusal(self, request: bytes) -> bytes | None:
        """Return a negative answer to a request for the fluid, where the fault is one."""
        if request[:1] not in (b"\x22", b"\x21"):
            return None
        self.count += 1
        codes = {"busy": 0x21 if self.count % 2 == 0 else 0, "refuse": int(self.number)}
        codes["once"] = int(self.number) if self.count == 1 else 0
        code = codes.get(self.name, 0)
        return bytes([0x7F, request[0], code]) if code else None


class Unit:
    """One control unit: scapy's machine with our faults between question and answer."""

    def __init__(self, number: int, responses: list[EcuResponse], faults: Faults) -> None:
        self.number = number
        self.faults = faults
        self._machine = EcuAnsweringMachine(supported_responses=responses, basecls=UDS)

    def answers(self, request: bytes, functional: bool) -> list[tuple[float, bytes]]:
        """Return payloads, each with the seconds that it takes."""
        if self.faults.log is not None:
            with self.faults.log.open("a", encoding="utf-8") as log:
                log.write(f"{'all' if functional else 'one'} {request.hex()}\n")
        if self.faults.name == "off":
            return []
        refusal = self.faults.refusal(request)
        if refusal is not None:
            return [(0.0, refusal)]
        late_s = self.faults.number if self.faults.name == "late" else 0.0
        found = [(late_s, bytes(packet)) for packet in self._machine.make_reply(UDS(request))]
        if functional:
            found = [one for one in found if one[1][:1] != b"\x7f" or one[1][2] not in UNSAID]
        if self.faults.name == "pending" and request[:1] == b"\x22":
            return [(0.0, bytes([0x7F, request[0], 0x78])), *((LATE_S, data) for _, data in found)]
        return found


class Engine(Unit):
    """Answers each PID of a request that it knows, and no identifier of service 22."""

    pids = {0: bytes.fromhex("08180000"), 5: b"\x82", 12: bytes.fromhex("0BB8"), 13: b"\x00"}  # noqa: RUF012

    def answers(self, request: bytes, functional: bool) -> list[tuple[float, bytes]]:
        moving = {13: bytes([int(self.faults.number)])} if self.faults.name == "drive" else {}
        pids = self.pids | moving
        known = [bytes([pid]) + pids[pid] for pid in request[1:] if pid in pids]
        deaf = self.faults.name == "group" and len(request) > 2
        if self.faults.name == "off" or request[:1] != b"\x01" or not known or deaf:
            return []
        return [(0.0, b"\x41" + b"".join(known))]


def gearbox_responses() -> list[EcuResponse]:
    def said(*requests: bytes) -> Callable[[Packet, Packet], bool]:
        return lambda _response, packet: any(bytes(packet).startswith(one) for one in requests)

    def row(request: str, response: str, state: list[EcuState] | None = None) -> EcuResponse:
        answers = said(bytes.fromhex(request))
        return EcuResponse(state=state, responses=UDS(bytes.fromhex(response)), answers=answers)

    extended = [EcuState(session=3), EcuState(session=3, tp=1)]
    return [
        row("221234", "6212340355"),
        row("2105", "61050355"),
        row("222345", "6223450355", extended),
        row("222345", "7F227F"),
        row("1003", "5003003201F4"),
        row("1001", "5001003201F4"),
        row("3E00", "7E00"),
        row("22", "7F2231"),
        row("21", "7F2131"),
        row("01", "7F0112"),
    ]


def units(faults: Faults) -> list[Unit]:
    return [Engine(0x10, [], faults), Unit(0x18, gearbox_responses(), faults)]


IDS = {0x10: (0x7E0, 0x7E8), 0x18: (0x7E1, 0x7E9)}


_Socket: Any = SuperSocket
_Isotp: Any = ISOTPSoftSocket


class QueueSocket(_Socket):  # type: ignore[misc]
    """A CAN socket for scapy: frames in from a queue, out by a function."""

    def __init__(self, send: Callable[[Packet], None]) -> None:
        self._send = send
        self.frames: queue.SimpleQueue[Packet] = queue.SimpleQueue()
        self.closed = False
        self.ins = self.outs = None

    def send(self, packet: Packet) -> int:
        self._send(packet)
        return 8

    def recv(self, _size: int = 0, **_more: Any) -> Packet | None:
        return None if self.frames.empty() else self.frames.get()

    @staticmethod
    def select(sockets: list[Any], remain: float | None = None) -> list[Any]:
        return [one for one in sockets if not one.frames.empty()]


class FrameAdapter:
    """Frames as text on a pseudo-terminal, after the slcan interface of python-can."""

    def __init__(self, faults: Faults) -> None:
        self.fd, far = pty.openpty()
        tty.setraw(far)
        self._far, self.address = far, os.ttyname(far)
        self._text = b""
        self._sockets: list[tuple[int, QueueSocket]] = []
        for unit in units(faults):
            threading.Thread(
                target=self._serve, args=(unit, *IDS[unit.number]), daemon=True
            ).start()

    def _serve(self, unit: Unit, request_id: int, answer_id: int) -> None:
        ends = []
        for rx_id in (request_id, FUNCTIONAL):
            frames = QueueSocket(self._out)
            self._sockets.append((rx_id, frames))
            listen_only = rx_id == FUNCTIONAL
            ends.append(_Isotp(frames, answer_id, rx_id, listen_only=listen_only))
        while True:
            for end in _Isotp.select(ends, 0.1):
                packet = end.recv()
                request = bytes(packet) if packet is not None else b""
                for delay_s, payload in unit.answers(request, functional=end is ends[1]):
                    time.sleep(delay_s)
                    ends[0].send(payload)

    def _out(self, packet: Packet) -> None:
        data = bytes(packet.data).ljust(8, b"\x55")
        os.write(self.fd, f"t{packet.identifier:03X}8{data.hex().upper()}\r".encode())

    def receive(self, data: bytes) -> None:
        *lines, self._text = (self._text + data).split(b"\r")
        for line in lines:
            os.write(self.fd, b"z\r" if line[:1] == b"t" else b"\r")
            if line[:1] == b"t":
                identifier, payload = int(line[1:4], 16), bytes.fromhex(line[5:].decode())
                for rx_id, frames in self._sockets:
                    if rx_id == identifier:
                        frames.frames.put(CAN(identifier=identifier, data=payload))


class TextVehicle:
    """What the text adapter asks: it listens as long as its own timeout says.

    An answer that comes later is lost, unless the adapter listens again by then.
    """

    def __init__(self, faults: Faults) -> None:
        self._units = units(faults)
        self._coming: list[tuple[float, int, bytes]] = []
        self.timeout_s = 0.2

    def answers(self, target: int, payload: bytes) -> list[tuple[int, bytes]]:
        now_s = time.monotonic()
        self._coming = [one for one in self._coming if one[0] >= now_s]
        for unit in self._units:
            if target in (0, unit.number):
                for delay_s, data in unit.answers(payload, functional=target == 0):
                    self._coming.append((now_s + delay_s, unit.number, data))
        until_s = now_s + self.timeout_s
        heard = sorted(one for one in self._coming if one[0] <= until_s)
        self._coming = [one for one in self._coming if one not in heard]
        ends_s = heard[-1][0] if heard else until_s
        time.sleep(max(0.0, ends_s - time.monotonic()))
        return [(number, data) for _, number, data in heard]


class TextAdapter:
    """The text adapter of this house on a pseudo-terminal, with scapy's units behind it."""

    def __init__(self, faults: Faults) -> None:
        self.fd, far = pty.openpty()
        tty.setraw(far)
        self._far, self.address = far, os.ttyname(far)
        self._text = b""
        options = argparse.Namespace(wide=False, slow=0.0, unknown="", stubborn_echo=False)
        self._vehicle = TextVehicle(faults)
        self._adapter = Adapter(self._vehicle, options, random.Random(1))  # type: ignore[arg-type]

    def receive(self, data: bytes) -> None:
        *commands, self._text = (self._text + data).split(b"\r")
        for command in commands:
            self._vehicle.timeout_s = self._adapter.timeout_s
            for piece in self._adapter.answer(command.decode("latin-1")):
                if isinstance(piece, bytes):
                    os.write(self.fd, piece)


def main() -> None:
    """Serve until standard input ends."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--text", action="store_true")
    parser.add_argument("--log", default="", help="where to write what the gearbox unit was asked")
    faults = Faults()
    options = parser.parse_args()
    faults.log = Path(options.log) if options.log else None
    adapter = (TextAdapter if options.text else FrameAdapter)(faults)
    print(json.dumps({"address": adapter.address, "start": time.monotonic()}), flush=True)
    selector = selectors.DefaultSelector()
    selector.register(0, selectors.EVENT_READ)
    selector.register(adapter.fd, selectors.EVENT_READ)
    while True:
        for key, _ in selector.select():
            data = os.read(key.fd, 4096)
            if key.fd != 0:
                adapter.receive(data)
                continue
            if not data:
                return
            for line in data.decode().splitlines():
                _, name, *number = line.split()
                faults.set(name, float(number[0]) if number else 0.0)
                print(json.dumps({"fault": name}), flush=True)


if __name__ == "__main__":
    main()
