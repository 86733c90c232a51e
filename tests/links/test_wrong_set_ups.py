"""Wrong set-ups and the sentence that each gets: what was seen, and the option that cures it.

Each row is a way to get it wrong that the far ends of the tests can play. The sentences are matched
by their telling parts.
"""

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path

import pytest
from _pytest.mark import ParameterSet

from tests.links.can_runs import signal_file
from tests.links.test_can_reconnect import FarEnd
from tests.standins.process import StandIn
from tests.vehicle.faults import CANNOT_ONLY_LISTEN
from warmwatch.errors import UsageError
from warmwatch.links.address import parse_address
from warmwatch.links.trying import asking
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.links.trying.trial import try_link

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX"),
]

Far = Callable[[Path], AbstractContextManager[str]]


@dataclass(frozen=True)
class Row:
    """One wrong set-up: the far end, the address (PORT is its port), and what is said.

    `seen` and `cure` are parts of a failed step: of what was seen, and of what to do.
    """

    name: str
    far: Far
    address: str
    seen: str
    cure: str


def text(*options: str, fault: str = "none") -> Far:
    """A text adapter with an invented vehicle."""

    @contextmanager
    def far(_folder: Path) -> Iterator[str]:
        with StandIn("text_adapter.py", "--pty", *options) as adapter:
            adapter.fault(fault)
            yield adapter.address

    return far


def frames(*counts: str, fault: str = "none") -> Far:
    """A CAN adapter that passes frames as text, with an invented vehicle at 500 kbit/s."""

    @contextmanager
    def far(folder: Path) -> Iterator[str]:
        adapter = FarEnd(folder / "port")
        adapter.plug(*counts)
        adapter.fault(fault)
        try:
            yield str(adapter.path)
        finally:
            adapter.unplug()

    return far


@contextmanager
def numbers(_folder: Path) -> Iterator[str]:
    """A thermometer that prints a line every 0.3 s."""
    ended = threading.Event()

    def print_on() -> None:
        while not ended.wait(0.3):
            printer.say(r"print 41.5\r\n")

    with StandIn("number_printer.py") as printer:
        thread = threading.Thread(target=print_on)
        thread.start()
        yield printer.address
        ended.set()
        thread.join()


@contextmanager
def held(_folder: Path) -> Iterator[str]:
    """A port that another program holds."""
    import serial

    with (
        StandIn("text_adapter.py", "--pty") as adapter,
        serial.Serial(adapter.address, exclusive=True),
    ):
        yield adapter.address


def nothing(_folder: Path) -> AbstractContextManager[str]:
    """No far end at all."""
    return nullcontext("/dev/no-such-port")


SLCAN = "interface=slcan&sleep_after_open=0&answer=0.2"
TALK = ("talk", "0.05")
ROWS = (
    Row("text adapter as can:", text(), f"can:PORT?{SLCAN}&bitrate=500000",
        "is a text adapter that takes AT commands", "use serial:PORT"),
    Row("frame adapter as serial:", frames("853"), "serial:PORT",
        "is a CAN adapter (frames as text), not a text adapter", "use can:PORT?interface=slcan"),
    Row("thermometer as serial:", numbers, "serial:PORT",
        "a line of numbers, the last: fluid_c 41.5", "use lines:PORT"),
    Row("thermometer as can:", numbers, f"can:PORT?{SLCAN}&bitrate=500000",
        "a line of numbers, the last: fluid_c 41.5", "use lines:PORT"),
    Row("wrong bitrate on a bus that talks", frames(*TALK), f"can:PORT?{SLCAN}&bitrate=250000",
        "the bus carries frames at 500000 bit/s, not at 250000", "bitrate=500000, or bitrate=auto"),
    Row("a bus that only talks", frames(*TALK), f"can:PORT?{SLCAN}&bitrate=500000",
        "the bus carries frames, but no unit answers", "broadcast: listens to it"),
    Row("wrong bitrate on a quiet bus", frames("853"), f"can:PORT?{SLCAN}&bitrate=250000",
        "silence", "check the bitrate (bitrate=)"),
    Row("ignition off, frames", frames("853", fault="off"), f"can:PORT?{SLCAN}&bitrate=500000",
        "silence", "switch the ignition on"),
    Row("ignition off, text", text(fault="off"), "serial:PORT",
        "no answer from the vehicle", "switch the ignition on"),
    Row("no bus", text(fault="unable"), "serial:PORT",
        "cannot reach the bus", "or name the bus (?bus="),
    Row("errors on the bus", text(fault="buserror"), "serial:PORT",
        "reports errors on the bus", "or name the bus (?bus="),
    Row("dead text adapter", text(fault="silent"), "serial:PORT",
        "nothing answers with a prompt", "check its power and plug, and the speed (?baud=)"),
    Row("dead frame adapter", text(fault="silent"), f"can:PORT?{SLCAN}&bitrate=500000",
        "answers as a frame adapter does (nothing answers)", "check its power"),
    Row("wrong baud=", text("--baud", "57600"), "serial:PORT?baud=9600",
        "answers at 57600 baud", "baud=57600"),
    Row("noise", frames("853", fault="noise"), f"can:PORT?{SLCAN}&bitrate=500000",
        "sends something that is not text", "tty_baudrate="),
    Row("cannot only listen", frames(*TALK, fault=CANNOT_ONLY_LISTEN),
        "broadcast:PORT?interface=slcan&sleep_after_open=0.3&bitrate=500000",
        "adapters do that cannot only listen", ""),
    Row("wrong bitrate where nothing is heard", frames(*TALK),
        "broadcast:PORT?interface=slcan&sleep_after_open=0.3&bitrate=250000",
        "is the ignition on, and the bitrate right?", ""),
    Row("no such port", nothing, "serial:PORT",
        "there is no such port (is it plugged in?). This computer has", ""),
    Row("no such port, frames", nothing, f"can:PORT?{SLCAN}",
        "there is no such port: check that the adapter is plugged in. This computer has", ""),
    Row("port held", held, "serial:PORT", "another program holds it (close that program)", ""),
    Row("no serial port", nothing, "serial:/dev/null", "it is not a serial port", ""),
    Row("nobody on the network", nothing, "serial:socket://127.0.0.1:9",
        "nothing answers there, connection refused", ""),
    Row("unknown interface", nothing, "can:PORT?interface=unheard_of",
        "python-can cannot use interface=unheard_of", ""),
    Row("mistyped option", nothing, "can:PORT?interface=slcan&bitrat=500000",
        "no option 'bitrat': did you mean bitrate", ""),
    Row("refused identifier", frames("853", fault="locked"),
        f"can:PORT?{SLCAN}&bitrate=500000&signals=FILE",
        "7E9 gives no fluid_c (22 1234): it is locked", ""),
    Row("refused identifier, what next", frames("853", fault="locked"),
        f"can:PORT?{SLCAN}&bitrate=500000&signals=FILE",
        "none came", "check the identifier and the unit (target) in the file"),
    Row("no signal file", frames("853"), f"can:PORT?{SLCAN}&bitrate=500000",
        "none came", "--find-temperature"),
)  # fmt: skip


def case(row: Row) -> ParameterSet:
    """Return the row for pytest; what needs a far end takes some seconds."""
    marks = () if row.far in (nothing, held) else (pytest.mark.slow,)
    return pytest.param(row, id=row.name, marks=marks)


@pytest.mark.parametrize("row", [case(row) for row in ROWS])
def test_each_wrong_set_up_gets_its_sentence(
    row: Row, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A failed step says what was seen and what cures it; nothing else is blamed."""
    monkeypatch.setattr(asking, "TRY_POLLS_S", 0.8)
    file = signal_file(tmp_path, target="0x7E1")
    with row.far(tmp_path) as port:
        address = row.address.replace("PORT", port).replace("FILE", str(file))
        failed = tried(address)
    cure = row.cure.replace("PORT", port)
    fitting = [step for step in failed if row.seen in step.seen and cure in step.advice]
    assert fitting, failed


def tried(address: str) -> list[Step]:
    """Return the failed steps of a trial; a wrong option counts as one."""
    try:
        steps = list(try_link(parse_address(address)))
    except UsageError as error:
        return [Step("usage", StepState.FAILED, str(error))]
    return [step for step in steps if step.state is StepState.FAILED]
