"""A text adapter with a vehicle behind it, both invented, as a program of its own.

    python tests/standins/text_adapter.py --pty
    python tests/standins/text_adapter.py --tcp

It prints one JSON line (`address`, `start` on the monotonic clock), then obeys lines on standard
input: `fault NAME [PROBABILITY]`, `fault none`, `quit`. It shares no code with warmwatch. What it
was sent is written to --log.
"""

import argparse
import json
import math
import os
import random
import selectors
import socket
import time
from pathlib import Path

BANNER = "INVENTED TEXT ADAPTER 1.0"
START_C, HALF_CYCLE_S = 20.0, 1500.0
FAULTS = (
    "none nodata silent noprompt searching buserror bufferfull stopped unknown garbage drip merged "
    "cut corrupt reset pending busy refuse locked foreign late off unable nul bare alternate gone"
)


def fluid_c(age_s: float) -> float:
    """The truth about the fluid, `age_s` after the start.

    First-order (600 s): heated towards 100 degC for HALF_CYCLE_S, then cooling towards START_C for
    as long, and so on, so that it never stands still.
    """
    celsius = START_C
    heating = True
    while age_s > 0:
        part_s = min(age_s, HALF_CYCLE_S)
        goal = 100.0 if heating else START_C
        celsius = goal + (celsius - goal) * math.exp(-part_s / 600.0)
        age_s -= part_s
        heating = not heating
    return celsius


def coolant_c(age_s: float) -> float:
    """The coolant: the same form, 250 s."""
    return 92.0 - (92.0 - START_C) * math.exp(-age_s / 250.0)


class Vehicle:
    """Answers requests with payloads: an engine unit at 7E8 and a gearbox unit at 7E9."""

    def __init__(self, start_s: float, pace: float, standing_s: float, vin: str = "") -> None:
        self._start_s = start_s
        self._pace = pace
        self._standing_s = standing_s
        self.vin = vin

    def age_s(self) -> float:
        """Seconds since the engine was started."""
        running_s = time.monotonic() - self._start_s - self._standing_s
        return max(0.0, running_s) * self._pace

    def answers(self, target: int, payload: bytes) -> list[tuple[int, bytes]]:
        """`target` is 0 for everybody, else the unit's number: 0x10 engine, 0x18 gearbox."""
        found = []
        for number in (0x10, 0x18):
            if target in (0, number) and (data := self._unit(number, payload, target == 0)):
                found.append((number, data))
        return found

    def _unit(self, number: int, payload: bytes, functional: bool) -> bytes | None:
        if payload[:1] == b"\x01":
            records = [self._pid(number, pid) for pid in payload[1:]]
            body = b"".join(record for record in records if record)
            return b"\x41" + body if body else None
        if payload[:1] == b"\x22":
            record = self._identifier(number, payload[1:3])
            if record is not None and len(payload) == 3:
                return b"\x62" + payload[1:3] + record
            return None if functional else b"\x7f\x22\x31"
        if payload[:2] == b"\x09\x02" and number == 0x10 and self.vin:
            return b"\x49\x02\x01" + self.vin.encode()
        return None if functional else b"\x7f" + payload[:1] + b"\x11"

    def _pid(self, number: int, pid: int) -> bytes:
        engine = {
            0x00: bytes.fromhex("08180001"),  # 05 0C 0D 20
            0x20: bytes.fromhex("00000001"),  # 40
            0x40: bytes.fromhex("40000000"),  # 42
            0x05: bytes([round(coolant_c(self.age_s())) + 40]),
            0x0C: (780 * 4).to_bytes(2, "big"),
            0x0D: b"\x00",
            0x42: (13800).to_bytes(2, "big"),
        }
        gearbox = {0x00: bytes.fromhex("00080000")}  # 0D
        record = (engine if number == 0x10 else gearbox).get(pid)
        return bytes([pid]) + record if record is not None else b""

    def _identifier(self, number: int, identifier: bytes) -> bytes | None:
        if number != 0x18:
            return None
        tenths = round(fluid_c(self.age_s()) * 10)
        records = {
            b"\x12\x34": tenths.to_bytes(2, "big", signed=True),
            b"\x12\x35": b"\x11\x22\x33\x44\x55\x66\x77" + bytes([round(tenths / 10) + 40]),
            b"\x12\x36": (780).to_bytes(2, "big") + b"\x05",
            b"\x12\x37": b"\x82",  # a value that never moves
            b"\x12\x38": bytes([round(coolant_c(self.age_s())) + 40]),
            b"\x12\x39": round(self.age_s()).to_bytes(2, "big"),  # a clock
            b"\x12\x3a": bytes([50 + round(self.age_s() * 7) % 13]),  # never at rest
        }
        return records.get(identifier)


class Adapter:
    """The text side: commands in, lines and a prompt out."""

    def __init__(self, vehicle: Vehicle, options: argparse.Namespace, rng: random.Random) -> None:
        self.vehicle = vehicle
        self.wide = options.wide
        self.slow_s = options.slow
        self.unknown = set(filter(None, options.unknown.split(",")))
        self.stubborn_echo = options.stubborn_echo
        self.fault, self.chance = "none", 1.0
        self.count = 0
        self.rng = rng
        self.reset()

    def reset(self) -> None:
        self.echo, self.headers, self.spaces, self.feeds = True, False, True, False
        self.timeout_s = 0.2
        self.header = "DB33F1" if self.wide else "7DF"

    def answer(self, command: str) -> list[bytes | float | None]:
        """Return pieces to send; a number is a pause in seconds."""
        command = command.replace(" ", "").upper()
        echo = command + "\r" if self.echo or self.stubborn_echo else ""
        fault = self.fault if self.rng.random() < self.chance else "none"
        if command.startswith("AT"):
            text = self._at(command[2:])
            lines = [text] if text else []
        else:
            if self.slow_s:
                time.sleep(self.slow_s)
            lines = self._request(command, fault)
        end = "\r\n" if self.feeds else "\r"
        text = echo + "".join(line + end for line in lines) + end + ">"
        return self._spoilt(text.encode("latin-1"), fault, command)

    def _at(self, command: str) -> str:
        known = {"E": "echo", "L": "feeds", "H": "headers", "S": "spaces"}
        if "AT" + command in self.unknown or self.fault == "unknown":
            return "?"
        if command == "Z":
            self.reset()
            return "\r" + BANNER
        if len(command) == 2 and command[0] in known and command[1] in "01":
            setattr(self, known[command[0]], command[1] == "1")
            return "OK"
        if command.startswith("SH"):
            self.header = command[2:]
            return "OK"
        if command.startswith("ST"):
            self.timeout_s = 0.004 * int(command[2:], 16)
            return "OK"
        if command == "RV":
            return "13.8V"
        if command == "DPN":
            return "A7" if self.wide else "A6"
        return "OK" if command[:2] in ("AT", "SP", "CR", "AR") else "?"

    def _target(self) -> int:
        if self.wide:
            return 0 if self.header == "DB33F1" else int(self.header[2:4], 16)
        return {"7DF": 0, "7E0": 0x10, "7E1": 0x18}.get(self.header, -1)

    def _request(self, command: str, fault: str) -> list[str]:
        words = {
            "nodata": "NO DATA", "off": "NO DATA", "buserror": "CAN ERROR", "unable":
            "UNABLE TO CONNECT", "stopped": "STOPPED", "unknown": "?",
        }  # fmt: skip
        if fault in words:
            return [words[fault]]
        try:
            payload = bytes.fromhex(command)
        except ValueError:
            return ["?"]
        if fault == "bare" and payload[:1] == b"\x01":  # a vehicle that knows service 22 only
            return ["NO DATA"]
        answers = self._refused(payload, fault) or self.vehicle.answers(self._target(), payload)
        lines = [line for number, data in answers for line in self._frames(number, data)]
        if fault == "searching" and lines:
            lines[0] = "SEARCHING..." + lines[0]
        if fault == "bufferfull":
            lines = [*lines[:-1], "BUFFER FULL"]
        return lines or ["NO DATA"]

    def _refused(self, payload: bytes, fault: str) -> list[tuple[int, bytes]]:
        code = {"busy": 0x21, "refuse": 0x22, "locked": 0x33, "gone": 0x31}.get(fault)
        self.count += 1
        if fault == "alternate" and self.count % 2:
            code = 0x21
        if code is not None and payload[:1] == b"\x22":
            return [(0x18, bytes([0x7F, 0x22, code]))]
        if fault == "pending" and payload[:1] == b"\x22":
            waiting = (0x18, b"\x7f\x22\x78")
            return [waiting, *self.vehicle.answers(self._target(), payload)]
        if fault == "foreign" and payload[:1] == b"\x22":
            return [(0x18, b"\x62\x99\x99\x03\x84")]
        return []

    def _frames(self, number: int, data: bytes) -> list[str]:
        if len(data) < 8:
            frames = [bytes([len(data)]) + data]
        else:
            frames = [bytes([0x10 | len(data) >> 8, len(data) & 0xFF]) + data[:6]]
            for index, at in enumerate(range(6, len(data), 7)):
                frames.append(bytes([0x20 | (index + 1) & 0x0F]) + data[at : at + 7])
        if not self.headers:
            return self._bare(data)
        identifier = f"18DAF1{number:02X}" if self.wide else f"{0x7E8 + (number == 0x18):03X}"
        gap = " " if self.spaces else ""
        if self.wide and gap:
            identifier = gap.join(identifier[i : i + 2] for i in range(0, 8, 2))
        padded = [frame.ljust(8, b"\xaa") for frame in frames]
        return [gap.join([identifier, *(f"{byte:02X}" for byte in frame)]) for frame in padded]

    def _bare(self, data: bytes) -> list[str]:
        gap = " " if self.spaces else ""
        if len(data) < 8:
            return [gap.join(f"{byte:02X}" for byte in data)]
        parts = [data[:6], *(data[at : at + 7].ljust(7, b"\0") for at in range(6, len(data), 7))]
        lines = [
            f"{index:X}:{gap}" + gap.join(f"{byte:02X}" for byte in part)
            for index, part in enumerate(parts)
        ]
        return [f"{len(data):03X}", *lines]

    def _spoilt(self, text: bytes, fault: str, command: str) -> list[bytes | float | None]:
        half = len(text) // 2
        if fault == "silent":
            return []
        if fault == "noprompt":
            return [text.rstrip(b">")]
        if fault == "garbage":
            return [bytes(self.rng.randrange(1, 256) for _ in range(40)), b"\r>"]
        if fault == "drip":
            return [piece for byte in text for piece in (bytes([byte]), 0.002)]
        if fault == "merged":
            return [text.replace(b"\r", b"").replace(b">", b"\r\r>")]
        if fault == "cut":
            return [text[:half], b"\r\r>"]
        if fault == "reset" and not command.startswith("AT"):
            self.reset()
            return [text[:half], 0.3, f"\r\r{BANNER}\r\r>".encode()]
        if fault == "late":
            return [3.5, text]
        if fault == "nul":
            return [b"\0" + text.replace(b"\r", b"\r\0")]
        if fault == "corrupt":
            return [bytes(self._flipped(byte) for byte in text)]
        return [text]

    def _flipped(self, byte: int) -> int:
        return byte ^ 1 << self.rng.randrange(8) if self.rng.random() < 0.05 else byte


class Wire:
    """The near end's file descriptor, by pseudo-terminal or TCP."""

    def __init__(self, options: argparse.Namespace) -> None:
        self.listener: socket.socket | None = None
        self.baud = options.baud
        self.fd = -1
        self._connection: socket.socket | None = None
        if options.tcp is None:
            import pty
            import tty

            self.fd, far = pty.openpty()
            tty.setraw(far)
            self._far = far  # held open, so that the near side may close and open it again
            self.address = os.ttyname(far)
            if options.link:
                link = Path(options.link)
                link.unlink(missing_ok=True)
                link.symlink_to(self.address)
                self.address = options.link
        else:
            self.listener = socket.create_server(("127.0.0.1", options.tcp))
            self.address = f"socket://127.0.0.1:{self.listener.getsockname()[1]}"

    def understands(self) -> bool:
        """True when the near end's speed is the adapter's, or any will do."""
        if not self.baud:
            return True
        import termios

        speed = termios.tcgetattr(self._far)[4]
        return bool(speed == getattr(termios, f"B{self.baud}"))

    def accept(self) -> None:
        assert self.listener is not None
        self.hang_up()
        self._connection, _ = self.listener.accept()
        self.fd = self._connection.fileno()

    def hang_up(self) -> None:
        if self._connection is not None:
            self._connection.close()
            self._connection, self.fd = None, -1


class Server:
    """Runs the adapter on its wire until told to quit."""

    def __init__(self, options: argparse.Namespace) -> None:
        start_s = time.monotonic()
        self.adapter = Adapter(
            Vehicle(start_s, options.pace, options.standing, options.vin),
            options,
            random.Random(options.seed),
        )
        self.wire = Wire(options)
        self.log = Path(options.log) if options.log else None
        self.times = Path(options.times) if options.times else None
        self.pending = b""
        self.running = True
        print(json.dumps({"address": self.wire.address, "start": start_s}), flush=True)

    def run(self) -> None:
        while self.running:
            with selectors.DefaultSelector() as selector:
                selector.register(0, selectors.EVENT_READ, self.obey)
                if self.wire.listener is not None:
                    selector.register(self.wire.listener, selectors.EVENT_READ, self.wire.accept)
                if self.wire.fd >= 0:
                    selector.register(self.wire.fd, selectors.EVENT_READ, self.receive)
                for key, _ in selector.select():
                    key.data()

    def obey(self) -> None:
        data = os.read(0, 4096)
        self.running = bool(data)
        for line in data.decode().splitlines():
            words = line.split()
            if words[:1] == ["quit"]:
                self.running = False
            elif words[:1] == ["hangup"]:
                self.wire.hang_up()
            elif words[:1] == ["fault"] and words[1] in FAULTS.split():
                self.adapter.fault = words[1]
                self.adapter.chance = float(words[2]) if len(words) > 2 else 1.0
                print(json.dumps({"fault": words[1]}), flush=True)

    def receive(self) -> None:
        try:
            data = os.read(self.wire.fd, 4096)
        except OSError:
            data = b""
        if not data:
            self.wire.hang_up()
            return
        if not self.wire.understands():
            self.send(bytes(0x80 | byte >> 1 for byte in data))
            return
        *commands, self.pending = (self.pending + data).split(b"\r")
        for command in commands:
            self.serve(command.decode("latin-1"))

    def serve(self, command: str) -> None:
        if self.log is not None:
            with self.log.open("a", encoding="utf-8") as log:
                log.write(command + "\n")
        for piece in self.adapter.answer(command):
            if isinstance(piece, float):
                time.sleep(piece)
            elif piece:
                self.send(piece)
        if self.times is not None:
            with self.times.open("a", encoding="utf-8") as times:
                times.write(f"{time.monotonic()} {command}\n")

    def send(self, data: bytes) -> None:
        try:
            os.write(self.wire.fd, data)
        except OSError:
            self.wire.hang_up()


def main() -> None:
    """Parse the options and serve."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pty", action="store_true")
    parser.add_argument("--tcp", type=int, nargs="?", const=0, default=None)
    parser.add_argument("--link", default="", help="a name for the pseudo-terminal")
    parser.add_argument("--wide", action="store_true", help="29-bit identifiers")
    parser.add_argument("--unknown", default="", help="commands it does not know: ATS0,ATAT1")
    parser.add_argument("--stubborn-echo", action="store_true")
    parser.add_argument("--slow", type=float, default=0.0, help="seconds for each request")
    parser.add_argument("--baud", type=int, default=0, help="the only speed it understands (pty)")
    parser.add_argument("--pace", type=float, default=1.0, help="vehicle seconds for each real one")
    parser.add_argument("--standing", type=float, default=0.0, help="seconds before engine start")
    parser.add_argument("--vin", default="", help="the vehicle's identification number")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--log", default="")
    parser.add_argument("--times", default="", help="a log of when each answer was sent")
    options = parser.parse_args()
    if options.pty == (options.tcp is not None):
        parser.error("choose --pty or --tcp")
    Server(options).run()


if __name__ == "__main__":
    main()
