"""The far end of a serial cable, as a process of its own: a CAN adapter with a vehicle behind it.

`python -m tests.vehicle.far_end LINK COUNTS [DELAY TIMES]` makes a pseudo-terminal, puts a
symbolic link to it at LINK (the "port") and speaks the text protocol of python-can's slcan
interface on it, written by hand. COUNTS is the fluid in tenths of a degC, DELAY what each answer
takes in seconds; when each frame was sent (monotonic clock) goes into TIMES. With COUNTS `talk`
nobody is answered: the fluid is broadcast (J1939 group 65272) every DELAY seconds, 60 degC until
the port is opened (or at the monotonic second after `talk@`) and TALK_C_PER_S more each second.
With `warm@...` or `bare@...` the vehicle is one of `warming`, and the second when it begins to live
is printed. A line on standard input is the fault from then on, one of FAULTS; it is printed once it
is so. Kill it to unplug.
"""

import os
import pty
import random
import select
import sys
import time
import tty
from pathlib import Path
from typing import TextIO

from tests.vehicle.faults import (
    CANNOT_ONLY_LISTEN,
    FAULTS,
    REFUSALS,
    SLOW_S,
    SPN_177_CODES,
    TALK_C_PER_S,
)
from tests.vehicle.player import Player
from tests.vehicle.units import TestUnit
from tests.vehicle.warming import vehicle
from warmwatch.links.python_can import can

SPEED = "S6"
"""The vehicle's bitrate as the adapter is told it: 500 kbit/s."""


class TextFrames:
    """Frames as lines: `t` or `T`, identifier, length, bytes, carriage return."""

    def __init__(self, fd: int, times: TextIO) -> None:
        self._fd = fd
        self._times = times
        self._text = b""
        self._chance = random.Random(1)
        self._heard = [fd, sys.stdin.fileno()]
        self.fault = "none"
        self.open = False
        self._speed = SPEED

    def recv(self, timeout: float | None = None) -> can.Message | None:
        while b"\r" not in self._text:
            ready, _, _ = select.select(self._heard, [], [], timeout)
            if not ready:
                return None
            if self._fd in ready:
                self._text += os.read(self._fd, 4096)
            else:
                self._told(os.read(self._heard[1], 100).decode("ascii"))
        line, _, self._text = self._text.partition(b"\r")
        return self._obey(line.decode("ascii"))

    def _told(self, line: str) -> None:
        if not line:  # nobody will tell anything
            del self._heard[1:]
            return
        self.fault = line.split()[-1]
        assert self.fault in FAULTS
        print(self.fault, flush=True)

    def _obey(self, line: str) -> can.Message | None:
        if line[:1] == "L" and self.fault == CANNOT_ONLY_LISTEN:
            os.write(self._fd, b"\a")
            return None
        if line[:1] not in ("t", "T"):
            self.open = {"O": True, "L": True, "C": False}.get(line[:1], self.open)
            self._speed = line if line[:1] == "S" else self._speed
            os.write(self._fd, b"\r")
            return None
        digits = 3 if line[0] == "t" else 8
        data = bytes.fromhex(line[2 + digits :])
        assert int(line[1 + digits]) == len(data)
        os.write(self._fd, b"z\r" if line[0] == "t" else b"Z\r")
        if self._speed != SPEED:
            return None  # at another speed no frame gets across
        arbitration_id = int(line[1 : 1 + digits], 16)
        return can.Message(arbitration_id=arbitration_id, data=data, is_extended_id=digits == 8)

    def send(self, msg: can.Message) -> None:
        if not self.open or self._speed != SPEED:
            return
        head = f"T{msg.arbitration_id:08X}" if msg.is_extended_id else f"t{msg.arbitration_id:03X}"
        text = f"{head}{len(msg.data)}{bytes(msg.data).hex().upper()}\r"
        os.write(self._fd, self._spoilt(text.encode("ascii")))
        print(time.monotonic(), file=self._times, flush=True)

    def _spoilt(self, text: bytes) -> bytes:
        """Return what is left of a frame; a wrong digit is no fault here, since USB has a CRC."""
        if self.fault == "off" or (self.fault == "lost" and self._chance.random() < 0.5):
            return b""
        if self.fault == "cut" and self._chance.random() < 0.5:
            return text[: self._chance.randrange(1, len(text) - 1)] + b"\r"
        if self.fault == "noise":  # nothing but
            return bytes(self._chance.randrange(0x80, 0xFF) for _ in text) + b"\r"
        noise = bytes(self._chance.randrange(0x80, 0xFF) for _ in range(9))
        others = b"t1238%016X\rt7EA8%016X\r" % (self._chance.getrandbits(64), 0x0562FFFF) * 3
        return text + {"garbage": noise + b"\r", "foreign": others}.get(self.fault, b"")

    def shutdown(self) -> None:
        os.close(self._fd)


def main(link: Path, counts: str, delay: str = "0", times: str = os.devnull) -> None:
    master, slave = pty.openpty()
    tty.setraw(slave)
    beside = link.with_suffix(".new")
    beside.symlink_to(os.ttyname(slave))
    beside.replace(link)
    with Path(times).open("w", encoding="utf-8") as log:
        wire = TextFrames(master, log)
        print("ready", flush=True)
        if counts.startswith("talk"):
            talk(wire, float(delay), float(counts[5:] or "inf"))
        elif "@" in counts:
            Player("", vehicle(counts, begun=lambda at_s: print(at_s, flush=True)), bus=wire).run()
        else:
            answer(wire, int(counts), float(delay))


class Gearbox(TestUnit):
    """A unit whose refusals are a fault's."""

    wire: TextFrames
    count = 0

    def _final(self, request: bytes) -> bytes:
        code = REFUSALS.get(self.wire.fault)
        self.count += 1
        if self.wire.fault == "slow":
            time.sleep(SLOW_S)
        if self.wire.fault == "busy" and self.count % 2:
            code = 0x21
        return super()._final(request) if code is None else bytes([0x7F, request[0], code])


def answer(wire: TextFrames, counts: int, delay_s: float) -> None:
    """Play an engine unit and a gearbox unit for ever."""
    engine = TestUnit(0x7E0, 0x7E8, pids={0x0C: bytes.fromhex("0C80"), 0x05: b"\x5a"})
    gearbox = Gearbox(0x7E1, 0x7E9, dids={0x1234: counts.to_bytes(2, "big", signed=True)})
    gearbox.wire = wire
    engine.delay_s = gearbox.delay_s = delay_s
    Player("", [engine, gearbox], bus=wire).run()


def talk(wire: TextFrames, every_s: float, start_s: float) -> None:
    """Broadcast the fluid for ever (SPN 177: 1/32 degC from -273)."""
    while True:
        wire.recv(every_s)
        if wire.open:
            start_s = min(start_s, time.monotonic())
        celsius = 60.0 + TALK_C_PER_S * max(0.0, time.monotonic() - start_s)
        number = round((celsius + 273.0) * 32)
        fluid = SPN_177_CODES.get(wire.fault, number.to_bytes(2, "little"))
        data = bytes([0xFF] * 4) + fluid + bytes([0xFF] * 2)
        wire.send(can.Message(arbitration_id=0x18FEF803, data=data, is_extended_id=True))


if __name__ == "__main__":
    main(Path(sys.argv[1]), *sys.argv[2:])
