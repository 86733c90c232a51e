"""`can:` when the far end goes away and comes back; the adapter is a process on a terminal pair."""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from tests.links.can_runs import Run, follow, signal_file, watch
from tests.vehicle.player import Player
from tests.vehicle.units import TestUnit
from warmwatch.errors import LinkLost, LinkRefused
from warmwatch.links.address import parse_address
from warmwatch.links.base import open_link
from warmwatch.links.byte_port import PortSeen
from warmwatch.links.can.bus import BusOpener
from warmwatch.links.can.frames import FrameReader, UnreadableFrame
from warmwatch.links.python_can import can

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]


class FarEnd:
    """Adapters at one port path, plugged and unplugged."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._process: subprocess.Popen[str] | None = None

    def plug(self, counts: int | str, *more: str) -> None:
        command = [sys.executable, "-m", "tests.vehicle.far_end", str(self.path), str(counts)]
        command += more
        self._process = subprocess.Popen(
            command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self.line() == "ready"

    def line(self) -> str:
        """What it prints next."""
        assert self._process is not None
        assert self._process.stdout is not None
        return self._process.stdout.readline().rstrip("\n")

    def fault(self, name: str) -> None:
        """Switch a fault on, and wait until it is."""
        assert self._process is not None
        assert self._process.stdin is not None
        self._process.stdin.write(name + "\n")
        self._process.stdin.flush()
        assert self.line() == name

    def unplug(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.communicate()
            self._process = None


@pytest.fixture
def far_end(tmp_path: Path) -> Iterator[FarEnd]:
    """An adapter's port that nothing is plugged into yet."""
    made = FarEnd(tmp_path / "port")
    yield made
    made.unplug()


def slcan(far_end: FarEnd, tmp_path: Path) -> str:
    path = signal_file(tmp_path, target=0x7E1)
    quick = "poll=0.1&answer=0.3&sleep_after_open=0"
    return f"can:{far_end.path}?interface=slcan&bitrate=500000&{quick}&signals={path}"


def wait_for_lost(run: Run, after: int) -> bool:
    return any(notice.lost for notice in run.notices[after:])


def test_a_vehicle_is_read_through_a_serial_adapter(far_end: FarEnd, tmp_path: Path) -> None:
    """slcan over a terminal pair to another process: fluid, speed of the engine, coolant."""
    far_end.plug(853)
    run = watch(slcan(far_end, tmp_path), lambda run: len(run.fluid) >= 3)
    assert run.latest() == pytest.approx({"fluid_c": 85.3, "engine_rpm": 800.0, "coolant_c": 50.0})
    assert not [notice for notice in run.notices if notice.lost]


def test_an_adapter_unplugged_and_replugged_is_read_again(far_end: FarEnd, tmp_path: Path) -> None:
    """Lost is told within 5 s and nothing old comes again; replugged, new values come."""
    far_end.plug(853)
    link = open_link(parse_address(slcan(far_end, tmp_path)))
    try:
        run = follow(link, lambda run: len(run.fluid) >= 2)
        far_end.unplug()
        unplugged_s, notices, readings = time.monotonic(), len(run.notices), len(run.readings)
        follow(link, lambda run: wait_for_lost(run, notices), run=run)
        assert time.monotonic() - unplugged_s < 5.0
        assert len(run.readings) <= readings + 1  # one that was under way
        follow(link, lambda run: "there is no such port" in run.texts, run=run)
        before = len(run.fluid)
        far_end.plug(902)
        follow(link, lambda run: len(run.fluid) > before, 15.0, run)
        assert set(run.fluid[before:]) == {90.2}
        assert f"{far_end.path} is gone" in run.texts
        assert "there is no such port" in run.texts
        assert "The link failed" not in run.texts
    finally:
        link.close()


def test_ignition_off_and_on_is_told_and_survived(tmp_path: Path) -> None:
    """A bus that falls silent is told as such; when it speaks again, new values come."""
    path = signal_file(tmp_path, target=0x7E1)
    gearbox = TestUnit(0x7E1, 0x7E9, dids={0x1234: (853).to_bytes(2, "big")})
    with Player("ignition", [gearbox]):
        quick = "interface=virtual&poll=0.1&answer=0.15&addressing=normal"
        link = open_link(parse_address(f"can:ignition?{quick}&signals={path}"))
        try:
            run = follow(link, lambda run: len(run.fluid) >= 2)
            gearbox.silent, notices = True, len(run.notices)
            follow(link, lambda run: wait_for_lost(run, notices), run=run)
            assert "switch the ignition on" in run.texts
            before = len(run.fluid)
            gearbox.dids[0x1234] = (902).to_bytes(2, "big")
            gearbox.silent = False
            follow(link, lambda run: len(run.fluid) > before, 15.0, run)
            assert set(run.fluid[before:]) == {90.2}
        finally:
            link.close()


def test_a_vehicle_that_is_off_at_first_is_waited_for(tmp_path: Path) -> None:
    """Silence from the start is told with what to try, and the link goes on trying."""
    path = signal_file(tmp_path, target=0x7E1)
    gearbox = TestUnit(0x7E1, 0x7E9, dids={0x1234: (853).to_bytes(2, "big")}, silent=True)
    with Player("off", [gearbox]):
        quick = "interface=virtual&poll=0.1&answer=0.1&addressing=normal"

        def switched_on_when_told(run: Run) -> bool:
            if wait_for_lost(run, 0):
                gearbox.silent = False
            return bool(run.fluid)

        run = watch(f"can:off?{quick}&signals={path}", switched_on_when_told, 15.0)
    assert "No unit answers" in run.texts


PORTS: dict[str, Sequence[PortSeen]] = {
    "before": [PortSeen("/dev/a", "", "S1"), PortSeen("/dev/b", "", "S2")],
    "after": [PortSeen("/dev/b", "", "S2"), PortSeen("/dev/c", "", "S1")],
}


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The channels asked of python-can, which opens a virtual bus for each."""
    real: Callable[..., can.BusABC] = can.Bus
    asked: list[str] = []

    def open_virtual(channel: str, **_: object) -> can.BusABC:
        asked.append(channel)
        if channel.endswith("gone"):
            raise can.CanInitializationError("no such port")
        return real(interface="virtual", channel="usb")

    monkeypatch.setattr(can, "Bus", open_virtual)
    return asked


@pytest.mark.parametrize("given", ["", "S1"])
def test_a_port_that_comes_back_under_another_name_is_found(opened: list[str], given: str) -> None:
    """The USB serial number, learnt at the first opening or given, leads to the new name."""
    now = ["before"]
    opener = BusOpener("/dev/a", {"interface": "slcan"}, given, lambda: PORTS[now[0]])
    opener.open().shutdown()
    now[0] = "after"
    opener.open().shutdown()
    assert opened == ["/dev/a", "/dev/c"]


def test_a_port_that_never_was_is_refused_and_one_that_was_is_waited_for(opened: list[str]) -> None:
    """At first the ports of this computer are told and the link ends; later it is only lost."""
    opener = BusOpener("/dev/gone", {"interface": "slcan"}, "", lambda: PORTS["before"])
    with pytest.raises(LinkRefused, match=r"/dev/a, /dev/b"):
        opener.open()
    other = BusOpener("/dev/a", {"interface": "slcan"}, "S1", lambda: PORTS["before"])
    other.open().shutdown()
    other._ports = lambda: [PortSeen("/dev/gone", "", "S1")]
    with pytest.raises(LinkLost, match="cannot be opened"):
        other.open()


@pytest.mark.parametrize("fault", ["cut", "foreign", "lost"])
def test_garbled_text_of_a_serial_adapter_costs_only_its_frames(
    far_end: FarEnd, tmp_path: Path, fault: str
) -> None:
    """Cut and foreign lines are left out: no wrong value, no lost port, no word of the driver."""
    far_end.plug(853)
    link = open_link(parse_address(slcan(far_end, tmp_path)))
    try:
        run = follow(link, lambda run: len(run.fluid) >= 2)
        far_end.fault(fault)
        run = follow(link, lambda run: len(run.fluid) >= 8, longest_s=25.0, run=run)
    finally:
        link.close()
    assert set(run.fluid) == {85.3}
    assert [reading.doubts for reading in run.readings if reading.doubts] == []
    assert not any(notice.lost for notice in run.notices)


def test_a_line_that_is_no_text_costs_its_frames_and_no_reopening(
    far_end: FarEnd, tmp_path: Path
) -> None:
    """The driver would stumble over such bytes for ever: they are dropped, and reading goes on."""
    far_end.plug(853)
    link = open_link(parse_address(slcan(far_end, tmp_path)))
    try:
        run = follow(link, lambda run: len(run.fluid) >= 2)
        far_end.fault("garbage")
        seen = len(run.fluid)
        run = follow(link, lambda run: len(run.fluid) >= seen + 8, longest_s=5.0, run=run)
    finally:
        link.close()
    assert set(run.fluid) == {85.3}
    assert not any(notice.lost for notice in run.notices)


def test_nothing_but_bytes_that_are_no_text_is_told(far_end: FarEnd, tmp_path: Path) -> None:
    """Told in time as what it is, opened anew, and read again when it is text."""
    far_end.plug(853)
    link = open_link(parse_address(slcan(far_end, tmp_path)))
    try:
        run = follow(link, lambda run: len(run.fluid) >= 2)
        seen = len(run.fluid)
        far_end.fault("noise")
        run = follow(link, lambda run: wait_for_lost(run, 0), longest_s=5.0, run=run)
        assert "not text" in run.texts
        assert len(run.fluid) <= seen + 1  # one that was under way
        far_end.fault("none")
        run = follow(link, lambda run: len(run.fluid) >= seen + 3, longest_s=15.0, run=run)
    finally:
        link.close()
    assert set(run.fluid) == {85.3}


@pytest.mark.parametrize("tail", ["D0E9805621234035500000000", "b7E9805621234035500", "1234"])
def test_the_end_of_a_line_is_no_frame(tail: str) -> None:
    """B and D are digits and heads of lines: what a drop leaves of a line is never a frame."""
    bus = can.Bus(interface="slcan", channel="loop://", sleep_after_open=0)
    try:
        bus.recv(0.05)
        bus.serialPortOrig.write(tail.encode() + b"\r")  # type: ignore[attr-defined]
        try:
            assert FrameReader(bus).receive(0.1) is None
        except UnreadableFrame:
            return
    finally:
        bus.shutdown()


def test_listening_goes_on_through_garbled_text(far_end: FarEnd) -> None:
    """`broadcast:` drops what is no whole frame; each value is one that was sent."""
    far_end.plug("talk", "0.05")
    link = open_link(
        parse_address(f"broadcast:{far_end.path}?interface=slcan&sleep_after_open=0&poll=0.01")
    )
    try:
        run = follow(link, lambda run: len(run.fluid) >= 2)
        far_end.fault("cut")
        run = follow(link, lambda run: len(run.fluid) >= 20, run=run)
    finally:
        link.close()
    assert not any(notice.lost for notice in run.notices)
    assert run.fluid == sorted(run.fluid)
    assert max(run.fluid) < 70.0


def test_a_unit_that_is_locked_and_then_not_is_read_again(far_end: FarEnd, tmp_path: Path) -> None:
    """33 in the middle of a watch is told, no value is repeated, and it is asked again soon."""
    far_end.plug(853)
    link = open_link(parse_address(slcan(far_end, tmp_path)))
    try:
        run = follow(link, lambda run: len(run.fluid) >= 2)
        far_end.fault("locked")
        run = follow(link, lambda run: "code 33" in run.texts, run=run)
        before, seen = len(run.fluid), len(run.readings)
        run = follow(link, lambda run: len(run.readings) >= seen + 5, run=run)
        assert len(run.fluid) == before
        far_end.fault("none")
        run = follow(link, lambda run: len(run.fluid) > before, run=run)
    finally:
        link.close()
    assert "answered for fluid_c (22 1234) before and now refuses" in run.texts


def test_a_unit_that_keeps_working_on_it_is_told(far_end: FarEnd, tmp_path: Path) -> None:
    """78 without end is no silent wait: who is asked for what is told within 5 s."""
    far_end.plug(853)
    link = open_link(parse_address(slcan(far_end, tmp_path)))
    try:
        run = follow(link, lambda run: len(run.fluid) >= 2)
        far_end.fault("pending")
        run = follow(link, lambda run: "still working" in run.texts, longest_s=5.0, run=run)
    finally:
        link.close()
    assert "7E9 is asked for 22 1234" in run.texts
