"""The rigs of the soak: a stand-in, its faults, and the truth about its fluid."""

import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Protocol

from tests.standins.process import StandIn
from tests.standins.text_adapter import FAULTS, fluid_c
from tests.vehicle.faults import CONDUCT, ON_THE_WIRE, REFUSALS, SPN_177_CODES, TALK_C_PER_S

ROOT = Path(__file__).parents[2]
SIGNAL = """
[[signal]]
name = "fluid_c"
service = 0x22
identifier = 0x1234
length = 2
record_length = 2
signed = true
scale = 0.1
offset = 0
unit = "C"
target = 0x7E1
source = "invented for the soak"
"""


class Rig(Protocol):
    """One link's far end."""

    name: str
    address: str

    def truths(self, at_s: float) -> list[float]:
        """What the fluid was at a moment of the monotonic clock; a change leaves two."""

    def fault(self, rng: random.Random) -> str:
        """Break something; return its name."""

    def heal(self) -> None:
        """Mend it."""

    def tick(self, rng: random.Random) -> None:
        """Called about ten times a second."""

    def close(self) -> None:
        """Go away."""


class TextRig:
    """A text adapter on a pseudo-terminal that keeps its name when unplugged."""

    def __init__(self, folder: Path, pace: float) -> None:
        self.name = "serial"
        self._port = str(folder / "adapter")
        self._pace = pace
        signals = folder / "serial.toml"
        signals.write_text(SIGNAL, encoding="utf-8")
        self.address = f"serial:{self._port}?signals={signals}"
        self._plugged = self._plug()
        self._start_s = self._plugged.start_s
        self._alive = True

    def _plug(self, offset_s: float = 0.0) -> StandIn:
        return StandIn(
            "text_adapter.py", "--pty", "--link", self._port,
            "--pace", str(self._pace), "--standing", str(offset_s),
        )  # fmt: skip

    def truths(self, at_s: float) -> list[float]:
        return [fluid_c((at_s - self._start_s) * self._pace)]

    def fault(self, rng: random.Random) -> str:
        lasting = [name for name in FAULTS.split() if name != "none"]
        name = rng.choice([*lasting, "corrupt", "corrupt", "unplug"])
        if name == "unplug":
            self._alive = False
            self._plugged.unplug()
        else:
            self._plugged.fault(name, rng.choice([1.0, 0.3, 0.1]))
        return name

    def heal(self) -> None:
        if not self._alive:
            # A new process; its vehicle was started when the first one was.
            self._plugged = self._plug(self._start_s - time.monotonic())
            self._alive = True
        else:
            self._plugged.fault("none")

    def tick(self, rng: random.Random) -> None:
        """It answers by itself."""

    def close(self) -> None:
        if self._alive:
            self._plugged.unplug()


class PrinterRig:
    """A thermometer that prints lines; the soak itself writes them."""

    def __init__(self, folder: Path, pace: float) -> None:
        self.name = "lines"
        self._pace = pace
        self._printer = StandIn("number_printer.py")
        self.address = f"lines:{self._printer.address}"
        self._fault = "none"
        self._next_s = 0.0

    def truths(self, at_s: float) -> list[float]:
        return [fluid_c((at_s - self._printer.start_s) * self._pace)]

    def fault(self, rng: random.Random) -> str:
        self._fault = rng.choice(["silence", "garbage", "cut", "merged", "words"])
        return self._fault

    def heal(self) -> None:
        self._fault = "none"

    def tick(self, rng: random.Random) -> None:
        now_s = time.monotonic()
        if now_s < self._next_s:
            return
        self._next_s = now_s + 0.2
        text = f"fluid_c={self.truths(now_s)[0]:.1f}"
        spoilt = {
            "none": text + r"\r\n",
            "silence": "",
            "garbage": "".join(rf"\x{rng.randrange(128, 256):02x}" for _ in range(9)) + r"\n",
            "cut": text[: rng.randrange(1, 8)] + r"\n",
            "merged": text + text + r"\n",
            "words": r"fluid_c=OL\n",
        }
        if spoilt[self._fault]:
            self._printer.say(f"print {spoilt[self._fault]}")

    def close(self) -> None:
        self._printer.unplug()


class FramesRig:
    """A CAN adapter on a pseudo-terminal that is asked; each new one has another fluid."""

    FAULTS = ("unplug", *ON_THE_WIRE, *REFUSALS, *CONDUCT)

    def __init__(self, folder: Path) -> None:
        self.name = "can"
        self._port = folder / self.name
        signals = folder / "can.toml"
        signals.write_text(SIGNAL, encoding="utf-8")
        self._tenths = [600]
        self._plug()
        self.address = f"can:{self._port}?interface=slcan&bitrate=500000&poll=0.5&signals={signals}"

    def truths(self, at_s: float) -> list[float]:
        return [tenths / 10 for tenths in self._tenths[-2:]]

    def fault(self, rng: random.Random) -> str:
        name = rng.choice(self.FAULTS)
        if name == "unplug":
            self._unplug()
            self._tenths.append(self._tenths[-1] + rng.choice([-20, 20]))
        else:
            self._say(name)
        return name

    def heal(self) -> None:
        if self._process.poll() is None:
            self._say("none")
        else:
            self._plug()

    def tick(self, rng: random.Random) -> None:
        """It answers by itself."""

    def close(self) -> None:
        self._unplug()

    def _options(self) -> list[str]:
        return [str(self._tenths[-1])]

    def _plug(self) -> None:
        command = [sys.executable, "-m", "tests.vehicle.far_end", str(self._port), *self._options()]
        pipe = subprocess.PIPE
        self._process = subprocess.Popen(command, stdin=pipe, stdout=pipe, text=True, cwd=ROOT)
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == "ready\n"

    def _say(self, fault: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(fault + "\n")
        self._process.stdin.flush()

    def _unplug(self) -> None:
        if self._process.poll() is None:
            self._process.kill()
            self._process.communicate()


class TalkRig(FramesRig):
    """The same adapter on a bus that talks by itself (J1939)."""

    FAULTS = ("unplug", *ON_THE_WIRE, *SPN_177_CODES)

    def __init__(self, folder: Path) -> None:
        self.name = "broadcast"
        self._port = folder / self.name
        self._start_s = time.monotonic()
        self._tenths = [0]
        self._plug()
        self.address = f"broadcast:{self._port}?interface=slcan&bitrate=500000&poll=0.5"

    def truths(self, at_s: float) -> list[float]:
        return [60.0 + TALK_C_PER_S * (at_s - self._start_s)]

    def _options(self) -> list[str]:
        return [f"talk@{self._start_s}", "0.25"]


class PeerRig:
    """A peer that nobody here wrote; it is killed and begun again, or hangs for a while."""

    def __init__(self, folder: Path, name: str) -> None:
        self.name = name
        self._folder = folder
        self._start_s = time.monotonic()
        self._plug()

    def _command(self) -> list[str]:
        raise NotImplementedError

    def _plug(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", *self._command()], stdout=subprocess.PIPE, text=True, cwd=ROOT
        )
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == "ready\n"

    def fault(self, rng: random.Random) -> str:
        name = rng.choice(["unplug", "hang"])
        if name == "unplug":
            self.close()
        else:
            self._process.send_signal(signal.SIGSTOP)
        return name

    def heal(self) -> None:
        if self._process.poll() is None:
            self._process.send_signal(signal.SIGCONT)
        else:
            self._plug()

    def tick(self, rng: random.Random) -> None:
        """It answers, or sends, by itself."""

    def close(self) -> None:
        if self._process.poll() is None:
            self._process.kill()
            self._process.communicate()


class EthernetRig(PeerRig):
    """A vehicle on Ethernet."""

    def __init__(self, folder: Path) -> None:
        self._told = folder / "doip.port"
        super().__init__(folder, "doip")
        signals = folder / "doip.toml"
        signals.write_text(SIGNAL.replace("0x7E1", "0x1010"), encoding="utf-8")
        port = self._told.read_text(encoding="ascii")
        self.address = f"doip:127.0.0.1?port={port}&signals={signals}&poll=0.5"

    def truths(self, at_s: float) -> list[float]:
        return [60.0 + TALK_C_PER_S * (at_s - self._start_s)]

    def _command(self) -> list[str]:
        again = [self._told.read_text(encoding="ascii")] if self._told.exists() else []
        return ["tests.peers.ethernet", str(self._told), f"clock@{self._start_s}", *again]


class TwoSendersRig(PeerRig):
    """A truck's bus on which the engine sends a fluid, too: 70 degC, not the gearbox's 85."""

    def __init__(self, folder: Path) -> None:
        self._port = folder / "truck"
        super().__init__(folder, "two-senders")
        self.address = f"broadcast:{self._port}?interface=slcan&bitrate=500000&poll=0.5"

    def truths(self, at_s: float) -> list[float]:
        return [85.0]

    def _command(self) -> list[str]:
        self._port.unlink(missing_ok=True)
        return ["tests.peers.truck", str(self._port), "0.2", "3=85", "0=70"]
