"""`serial:` against a text adapter in a process of its own, on a pseudo-terminal and on TCP."""

import re
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.links.can_runs import FLUID_FILE, Run, signal_file, watch
from tests.standins.process import StandIn
from tests.standins.text_adapter import fluid_c
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Reading
from warmwatch.errors import LinkRefused, UsageError
from warmwatch.links.address import parse_address
from warmwatch.links.asking.driver import Wanted
from warmwatch.links.asking.link import link_of
from warmwatch.links.base import Link, open_link
from warmwatch.links.byte_port import PortOpener, PortSeen
from warmwatch.links.serial.port import SerialSettings, TextOpener
from warmwatch.signals import load_signal_file

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX"),
]

TOLERANCE_C = 1.0 + 0.2
"""Ours in the exchange, and what the fluid rises in the time between request and check."""


class Bench:
    """A link that is being watched, and what it yielded; the adapter behind it, where it stays."""

    def __init__(self, link: Link, adapter: StandIn | None = None) -> None:
        self.link = link
        self.adapter = adapter
        self.opened_s = time.monotonic()
        self.run = Run()
        self._items = link.items()

    def until(self, enough: Callable[[Run], object], longest_s: float = 15.0) -> None:
        """Iterate on until `enough` says so; failing to get there in time fails the test."""
        until_s = time.monotonic() + longest_s
        for item in self._items:
            if isinstance(item, Reading):
                self.run.readings.append(item)
            elif isinstance(item, Notice):
                self.run.notices.append(item)
            if enough(self.run):
                return
            assert time.monotonic() < until_s, f"not in time; told: {self.run.texts}"
        raise AssertionError("the link ended")

    def fault(self, name: str, chance: float = 1.0) -> None:
        assert self.adapter is not None
        self.adapter.fault(name, chance)

    def check_truth(self) -> None:
        assert self.adapter is not None
        check_truth(self.run, self.adapter, self.opened_s)

    def __enter__(self) -> "Bench":
        return self

    def __exit__(self, *_: object) -> None:
        self.link.close()


def lost(run: Run) -> bool:
    return any(notice.lost for notice in run.notices)


def check_truth(run: Run, adapter: StandIn, opened_s: float) -> None:
    """Every fluid temperature ever yielded without a doubt was the vehicle's."""
    for reading in run.readings:
        if "fluid_c" in reading.values and "fluid_c" not in reading.doubts:
            truth = fluid_c(opened_s + reading.elapsed_s - adapter.start_s)
            assert reading.values["fluid_c"] == pytest.approx(truth, abs=TOLERANCE_C)


def opened(adapter: StandIn, tmp_path: Path) -> Bench:
    file = signal_file(tmp_path, target="0x7E1")
    return Bench(open_link(parse_address(f"serial:{adapter.address}?signals={file}")), adapter)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    with StandIn("text_adapter.py", "--pty") as adapter, opened(adapter, tmp_path) as bench:
        yield bench


@pytest.mark.parametrize(
    "options",
    [
        ("--pty",),
        ("--tcp",),
        ("--pty", "--stubborn-echo"),
        ("--pty", "--unknown", "ATE0,ATL0,ATS0,ATAT1,ATDPN,ATRV"),
        ("--pty", "--unknown", "ATH1"),
        ("--pty", "--unknown", "ATSH7DF,ATSH7E0,ATSH7E1"),
    ],
    ids=" ".join,
)
def test_the_fluid_comes_through_whatever_the_adapter_knows(
    options: tuple[str, ...], tmp_path: Path
) -> None:
    """On a pseudo-terminal or TCP, and with an adapter that knows less, the fluid is read."""
    with StandIn("text_adapter.py", *options) as adapter:
        file = signal_file(tmp_path, target="0x7E1")
        opened_s = time.monotonic()
        run = watch(f"serial:{adapter.address}?signals={file}", lambda run: len(run.fluid) >= 3)
        check_truth(run, adapter, opened_s)
        if "ATH1" not in options:
            assert run.readings[0].raw == "7E9 621234" + run.readings[0].raw[-4:]


def test_29_bit_vehicles(tmp_path: Path) -> None:
    """A vehicle with 29-bit identifiers is found and read."""
    with StandIn("text_adapter.py", "--pty", "--wide") as adapter:
        file = signal_file(tmp_path, target="0x18")
        run = watch(f"serial:{adapter.address}?signals={file}", lambda run: len(run.fluid) >= 2)
    assert run.readings[0].raw.startswith("18DAF118 621234")


def test_standard_values_come_along(bench: Bench) -> None:
    """Engine speed, road speed, coolant and voltage are asked as the bitmaps offer them."""
    bench.until(lambda run: len(run.fluid) >= 6)
    latest = bench.run.latest()
    assert latest["engine_rpm"] == 780.0
    assert latest["speed_kmh"] == 0.0
    assert latest["voltage_v"] == 13.8
    assert latest["coolant_c"] >= 20.0
    fluid_only = [r for r in bench.run.readings if "coolant_c" not in r.values]
    assert fluid_only, "a slow value is not repeated in each reading"


@pytest.mark.parametrize("fault", ["searching", "drip", "pending", "nul"])
def test_harmless_quirks_change_nothing(bench: Bench, fault: str) -> None:
    """A search word before the answer, bytes in drips, pending answers, NUL bytes: still read."""
    bench.until(lambda run: run.fluid)
    bench.fault(fault)
    before = len(bench.run.fluid)
    bench.until(lambda run: len(run.fluid) >= before + 4)
    assert not lost(bench.run)
    bench.check_truth()


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        ("nodata", "No unit answers|does not answer"),
        ("silent", "stopped answering"),
        ("garbage", "make no sense"),
    ],
)
def test_a_fault_is_told_and_the_link_comes_back(bench: Bench, fault: str, told: str) -> None:
    """A lasting fault ends the readings with a plain sentence within 5 s, and they come back after.

    One of each kind here; the soak plays all of them.
    """
    bench.until(lambda run: len(run.fluid) >= 2)
    bench.fault(fault)
    fault_s = time.monotonic()
    bench.until(lost)
    assert time.monotonic() - fault_s < 5.5
    text = next(notice.text for notice in bench.run.notices if notice.lost)
    assert re.search(told, text), text
    before = len(bench.run.fluid)
    bench.fault("none")
    bench.until(lambda run: len(run.fluid) >= before + 2, longest_s=20.0)
    bench.check_truth()


@pytest.mark.parametrize(("fault", "words"), [("refuse", "code 22"), ("locked", "code 33")])
def test_a_refusal_is_told_once_in_words(bench: Bench, fault: str, words: str) -> None:
    """A unit's refusal is told with its code, once, while the other values go on."""
    bench.until(lambda run: run.fluid)
    bench.fault(fault)
    bench.until(lambda run: words in run.texts)
    count = len(bench.run.readings)
    bench.until(lambda run: len(run.readings) >= count + 5)
    assert bench.run.texts.count(words) == 1


def test_random_corruption_never_becomes_a_wrong_value(bench: Bench) -> None:
    """With one answer in two spoilt at random, values go on and all of them are true."""
    bench.until(lambda run: run.fluid)
    bench.fault("corrupt", 0.5)
    until_s = time.monotonic() + 1.5
    bench.until(lambda run: time.monotonic() > until_s, longest_s=20.0)
    assert "cannot be read" in bench.run.texts
    bench.check_truth()


def test_only_reading_requests_reach_the_adapter(tmp_path: Path) -> None:
    """What the adapter was sent, through faults and reconnects: services 01 and 22, and setup."""
    log = tmp_path / "sent.txt"
    adapter = StandIn("text_adapter.py", "--pty", "--log", str(log))
    with adapter, opened(adapter, tmp_path) as bench:
        bench.until(lambda run: run.fluid)
        adapter.fault("garbage", 0.5)
        until_s = time.monotonic() + 1.0
        bench.until(lambda run: time.monotonic() > until_s)
    sent = set(log.read_text(encoding="utf-8").split())
    setup = re.compile(r"AT(Z|E0|L0|H1|S0|AT1|SP0|RV|DPN|SH[0-9A-F]{3})")
    reading = re.compile(r"01([0-9A-F]{2}){1,6}|22([0-9A-F]{4})+")
    assert all(setup.fullmatch(command) or reading.fullmatch(command) for command in sent)


def test_an_unplugged_adapter_comes_back(tmp_path: Path) -> None:
    """Unplugged and plugged in again under the same name: lost at once, then readings go on."""
    port = str(tmp_path / "port")
    file = signal_file(tmp_path, target="0x7E1")
    first = StandIn("text_adapter.py", "--pty", "--link", port)
    with Bench(open_link(parse_address(f"serial:{port}?signals={file}"))) as bench:
        bench.until(lambda run: run.fluid)
        first.unplug()
        gone_s = time.monotonic()
        bench.until(lost)
        assert time.monotonic() - gone_s < 1.0
        before = len(bench.run.fluid)
        with StandIn("text_adapter.py", "--pty", "--link", port):
            bench.until(lambda run: len(run.fluid) > before)
    assert port in bench.run.texts


def test_an_adapter_is_followed_to_another_port_name(tmp_path: Path) -> None:
    """Found again by its USB serial number where the system gives it another name."""
    names = [str(tmp_path / "port0"), str(tmp_path / "port1")]
    plugged: list[PortSeen] = []
    wanted = Wanted(load_signal_file(signal_file(tmp_path, target="0x7E1")).signals)
    first = StandIn("text_adapter.py", "--pty", "--link", names[0])
    plugged[:] = [PortSeen("/dev/other", "", "999"), PortSeen(names[0], "", "1234")]
    opener = PortOpener(names[0], 38400, ports=lambda: list(plugged))
    settings = SerialSettings(names[0], 38400, wanted=wanted)
    link = link_of(TextOpener(settings, opener), {})
    with Bench(link) as bench:
        bench.until(lambda run: run.fluid)
        first.unplug()
        bench.until(lost)
        before = len(bench.run.fluid)
        with StandIn("text_adapter.py", "--pty", "--link", names[1]):
            plugged[1] = PortSeen(names[1], "", "1234")
            bench.until(lambda run: len(run.fluid) > before)


def test_a_port_can_be_named_by_its_usb_serial_number_alone(tmp_path: Path) -> None:
    """`serial:?usb=1234` needs no port name; a number that nobody has is refused with the ports."""
    with StandIn("text_adapter.py", "--pty") as adapter:
        ports = [PortSeen(adapter.address, "", "1234")]
        port = PortOpener("", 38400, "1234", ports=lambda: ports).open()
        port.close()
        with pytest.raises(LinkRefused, match=f"usb=77.*{adapter.address}"):
            PortOpener("", 38400, "77", ports=lambda: ports).open()


def test_a_hung_up_tcp_adapter_comes_back(tmp_path: Path) -> None:
    """A TCP connection that the far end drops is made again."""
    with StandIn("text_adapter.py", "--tcp") as adapter, opened(adapter, tmp_path) as bench:
        bench.until(lambda run: run.fluid)
        adapter.say("hangup")
        bench.until(lost)
        before = len(bench.run.fluid)
        bench.until(lambda run: len(run.fluid) > before)


def test_a_port_in_use_is_said_so(bench: Bench) -> None:
    """A port that another program holds is refused in words."""
    bench.until(lambda run: run.fluid)
    assert bench.adapter is not None
    with pytest.raises(LinkRefused, match="another program holds it"):
        watch(f"serial:{bench.adapter.address}", lambda run: False, longest_s=15.0)


def test_a_file_that_is_no_port_is_said_so() -> None:
    """Something that is there but is no serial port is refused in words."""
    with pytest.raises(LinkRefused, match=r"/dev/null cannot be opened: it is not a serial port\."):
        watch("serial:/dev/null", lambda run: False)


def test_nothing_listening_is_said_so() -> None:
    """A TCP port where nobody listens is refused in words."""
    with pytest.raises(LinkRefused, match="nothing answers there, connection refused"):
        watch("serial:socket://127.0.0.1:9", lambda run: False)


def test_without_a_fluid_signal_that_is_said(tmp_path: Path) -> None:
    """The link says plainly that it has no fluid temperature, and what to do."""
    with StandIn("text_adapter.py", "--pty") as adapter:
        run = watch(f"serial:{adapter.address}", lambda run: run.readings)
    assert "--find-temperature" in run.texts
    assert "signals=FILE" in run.texts
    assert run.fluid == []


@pytest.mark.parametrize(
    ("options", "named"),
    [("speed=9", "speed"), ("bus=fast", "bus=fast"), ("baud=x", "baud"), ("poll=-1", "poll")],
)
def test_wrong_options_are_named(options: str, named: str) -> None:
    """A wrong option is one sentence that names it."""
    with pytest.raises(UsageError, match=named):
        open_link(parse_address(f"serial:/dev/null?{options}"))


def test_a_missing_port_name_lists_the_ports() -> None:
    """`serial:` alone asks which port and names what there is."""
    with pytest.raises(UsageError, match="Which port"):
        open_link(parse_address("serial:"))


def test_the_signal_file_is_kept_in_the_description(tmp_path: Path) -> None:
    """The recording's sidecar gets the address and the signals' definitions."""
    file = signal_file(tmp_path, FLUID_FILE)
    link = open_link(parse_address(f"serial:/dev/null?signals={file}"))
    about = link.describe()
    assert about["address"] == f"serial:/dev/null?signals={file}"
    assert "4660" in str(about["signals"])
