"""`can:` against the independent test vehicle on python-can's virtual bus."""

import ast
import uuid
from pathlib import Path

import pytest

import warmwatch
from tests.links.can_runs import FLUID_FILE, Run, signal_file, watch
from tests.vehicle.player import Player
from tests.vehicle.units import TestUnit
from warmwatch.errors import LinkRefused, UsageError
from warmwatch.links.address import parse_address
from warmwatch.links.asking.units import NORMAL, Unit
from warmwatch.links.base import open_link
from warmwatch.links.can.transport import Transport
from warmwatch.links.python_can import can
from warmwatch.signals.readonly import NotReading

QUICK = "interface=virtual&poll=0.05&answer=0.12"
PIDS = {
    0x04: bytes.fromhex("33"),
    0x05: bytes.fromhex("82"),
    0x0C: bytes.fromhex("0BB8"),
    0x0D: bytes.fromhex("00"),
    0x1F: bytes.fromhex("012C"),
    0x42: bytes.fromhex("3390"),
    0x46: bytes.fromhex("3C"),
}
# From j1979_cases.csv: the published values of the bytes above.
PUBLISHED = {
    "load_pct": 20.0,
    "coolant_c": 90.0,
    "engine_rpm": 750.0,
    "speed_kmh": 0.0,
    "run_time_s": 300.0,
    "voltage_v": 13.2,
    "ambient_c": 20.0,
}
WARM = {0x1234: (853).to_bytes(2, "big")}


@pytest.fixture
def channel() -> str:
    """A virtual channel of this test alone."""
    return uuid.uuid4().hex


def engine(**changes: object) -> TestUnit:
    unit = TestUnit(0x7E0, 0x7E8, pids=dict(PIDS))
    for key, value in changes.items():
        setattr(unit, key, value)
    return unit


def gearbox(**changes: object) -> TestUnit:
    unit = TestUnit(0x7E1, 0x7E9, dids=dict(WARM))
    for key, value in changes.items():
        setattr(unit, key, value)
    return unit


def fluid_seen(run: Run) -> bool:
    return bool(run.fluid)


def all_seen(run: Run) -> bool:
    return bool(run.fluid) and PUBLISHED.keys() <= run.latest().keys()


def test_standard_values_and_the_fluid_come_as_published(channel: str, tmp_path: Path) -> None:
    """Service 01 and 22 on 11 bits: published bytes give the published values, raw is kept."""
    path = signal_file(tmp_path, target=0x7E1)
    with Player(channel, [engine(), gearbox()]):
        run = watch(f"can:{channel}?{QUICK}&signals={path}", all_seen)
    assert run.latest() == pytest.approx(PUBLISHED | {"fluid_c": 85.3})
    assert run.readings[-1].raw == "7E9 6212340355"
    assert "7E8, 7E9" not in run.texts  # the gearbox serves no service 01 and stays unheard
    assert "7E8" in run.texts


def test_the_fluid_is_found_without_naming_its_unit(channel: str, tmp_path: Path) -> None:
    """Without a target everybody is asked once, and then only the unit that answered."""
    path = signal_file(tmp_path)
    with Player(channel, [engine(), gearbox()]) as player:
        watch(f"can:{channel}?{QUICK}&signals={path}", lambda run: len(run.fluid) >= 3)
        ids = [
            f.arbitration_id for f in player.frames if bytes(f.data).startswith(b"\x03\x22\x12\x34")
        ]
    assert ids[0] == 0x7DF
    assert set(ids[1:]) == {0x7E1}


def test_bitmaps_are_asked_first_and_obeyed(channel: str, tmp_path: Path) -> None:
    """PIDs that no bitmap offers are never asked, and frames are 8 bytes of single frames."""
    path = signal_file(tmp_path)
    unit = engine(pids={0x05: b"\x82", 0x0C: b"\x0b\xb8"})
    with Player(channel, [unit, gearbox()]) as player:
        watch(f"can:{channel}?{QUICK}&signals={path}", lambda run: len(run.fluid) >= 3)
        requests = [request for _, request in player.requests]
        assert requests[0] == b"\x01\x00"
        asked = {pid for r in requests if r[0] == 0x01 for pid in r[1:]}
        assert asked == {0x00, 0x05, 0x0C}
        assert {len(frame.data) for frame in player.frames} == {8}


def test_29_bit_addresses_are_tried_when_11_bits_are_silent(channel: str, tmp_path: Path) -> None:
    """18DB33F1 and 18DAxxF1 / 18DAF1xx (ISO 15765-4) are found without an option."""
    path = signal_file(tmp_path, target=0x18)
    wide_engine = engine(request_id=0x18DA10F1, answer_id=0x18DAF110)
    wide_gearbox = gearbox(request_id=0x18DA18F1, answer_id=0x18DAF118)
    with Player(channel, [wide_engine, wide_gearbox]):
        run = watch(f"can:{channel}?{QUICK}&signals={path}", all_seen)
    assert run.latest() == pytest.approx(PUBLISHED | {"fluid_c": 85.3})
    assert run.readings[-1].raw == "18DAF118 6212340355"


def test_extended_addressing_reaches_its_unit(channel: str, tmp_path: Path) -> None:
    """As in isotp_cases.csv: address byte 18 to the unit, F1 back; also a segmented answer."""
    path = signal_file(tmp_path)
    unit = engine(dids=dict(WARM), extension=0x18)
    how = "addressing=extended&request_id=7E0&answer_id=7E8&target=18"
    with Player(channel, [unit]) as player:
        run = watch(f"can:{channel}?{QUICK}&{how}&signals={path}", all_seen)
        assert {bytes(frame.data)[0] for frame in player.frames} == {0x18}
        kinds = {bytes(frame.data)[1] >> 4 for frame in player.frames}
    assert run.latest() == pytest.approx(PUBLISHED | {"fluid_c": 85.3})
    assert kinds == {0, 3}  # requests in single frames, and flow control


def test_a_unit_that_takes_one_pid_at_a_time_is_asked_so(channel: str, tmp_path: Path) -> None:
    """After a silent group the same values come one by one, and no group is sent again."""
    path = signal_file(tmp_path, target=0x7E1)
    with Player(channel, [engine(most_pids=1), gearbox()]) as player:
        run = watch(
            f"can:{channel}?{QUICK}&signals={path}",
            lambda run: all_seen(run) and len(run.fluid) > 4,
        )
        asked = [r for at, r in player.requests if at == 0x7E0 and r != b"\x01\x00"]
        sizes = [len(r) - 1 for r in asked]
    assert run.latest() == pytest.approx(PUBLISHED | {"fluid_c": 85.3})
    first_group, last_group = sizes.index(6), len(sizes) - 1 - sizes[::-1].index(6)
    assert last_group - first_group <= 1  # alone, and through the address of all
    assert set(sizes[last_group + 1 :]) == {1}


@pytest.mark.slow
def test_identifiers_are_asked_together_where_that_works(channel: str, tmp_path: Path) -> None:
    """Two identifiers fit one request; a refusal of the group leads to single ones."""
    second = FLUID_FILE.replace("fluid_c", "in_park").replace("0x1234", "0x1300")
    second = second.replace('unit = "C"\n', "").replace("length = 2", "length = 1")
    second = second.replace("scale = 0.1", "scale = 1").replace("signed = true", "signed = false")
    path = signal_file(tmp_path, FLUID_FILE + second)
    for most, groups_at_least, groups_at_most in ((8, 3, 99), (1, 1, 2)):
        unit = gearbox(dids=WARM | {0x1300: b"\x01"}, most_dids=most)
        with Player(channel, [unit]) as player:
            run = watch(f"can:{channel}?{QUICK}&signals={path}", lambda r: len(r.fluid) > 4)
            groups = [r for _, r in player.requests if r == bytes.fromhex("2212341300")]
        assert {k: run.latest()[k] for k in ("fluid_c", "in_park")} == {
            "fluid_c": 85.3,
            "in_park": 1.0,
        }
        assert groups_at_least <= len(groups) <= groups_at_most


def test_the_mirror_at_f400_is_used_where_service_01_is_silent(
    channel: str, tmp_path: Path
) -> None:
    """OBD over UDS: F400 offers, F405 carries the record of PID 05."""
    mirrored = {0xF400 | pid: record for pid, record in PIDS.items()}
    path = signal_file(tmp_path)
    unit = engine(pids={}, service_01=False, dids=mirrored | WARM)
    with Player(channel, [unit]):
        run = watch(f"can:{channel}?{QUICK}&signals={path}", all_seen)
    assert run.latest() == pytest.approx(PUBLISHED | {"fluid_c": 85.3})


def test_of_two_units_with_the_same_value_one_is_kept(channel: str, tmp_path: Path) -> None:
    """j1979_conduct.csv, two units answer: the values of 7E8 and 7E9 are never mixed."""
    path = signal_file(tmp_path)
    other = gearbox(pids={0x05: b"\x81"}, dids={})
    with Player(channel, [engine(dids=dict(WARM)), other]):
        run = watch(f"can:{channel}?{QUICK}&signals={path}", lambda run: len(run.fluid) > 12)
    coolant = [r.values["coolant_c"] for r in run.readings if "coolant_c" in r.values]
    assert set(coolant) == {90.0}
    assert len(coolant) >= 2
    assert "7E8, 7E9" in run.texts


def test_two_units_with_the_fluid_are_told(channel: str, tmp_path: Path) -> None:
    """Which of two answers is the fluid cannot be guessed silently."""
    path = signal_file(tmp_path)
    other = {0x1234: (211).to_bytes(2, "big")}
    with Player(channel, [engine(dids=dict(WARM)), gearbox(dids=other)]):
        run = watch(f"can:{channel}?{QUICK}&signals={path}", lambda run: len(run.fluid) > 2)
    assert set(run.fluid) == {85.3}
    assert run.texts.count("7E8 and 7E9 both answer") == 1


def test_a_unit_deaf_to_its_own_address_is_asked_with_all(channel: str, tmp_path: Path) -> None:
    """Offered by a bitmap but silent when asked alone: the address of all is used instead."""
    path = signal_file(tmp_path, target=0x7E1)
    with Player(channel, [engine(physical=False), gearbox()]):
        run = watch(f"can:{channel}?{QUICK}&signals={path}", all_seen, 15.0)
    assert run.latest() == pytest.approx(PUBLISHED | {"fluid_c": 85.3})


@pytest.mark.slow
def test_an_answer_that_takes_long_is_waited_for(channel: str, tmp_path: Path) -> None:
    """78 three times, each later than the usual wait: the value comes, and nothing is lost."""
    path = signal_file(tmp_path, target=0x7E1)
    slow = gearbox(pending={bytes.fromhex("221234"): 3}, pending_s=0.3)
    with Player(channel, [engine(), slow]) as player:
        run = watch(f"can:{channel}?{QUICK}&signals={path}", fluid_seen)
        asked = [request for _, request in player.requests if request == bytes.fromhex("221234")]
    assert run.fluid == [85.3]
    assert len(asked) <= 2  # the second one belongs to the next poll
    assert not [notice for notice in run.notices if notice.lost or notice.alarm]


@pytest.mark.slow
def test_an_answer_that_comes_too_late_is_no_answer_to_the_next_request(
    channel: str, tmp_path: Path
) -> None:
    """What arrives after the wait is dropped, or doubted by its length; the values stay right."""
    path = signal_file(tmp_path, target=0x7E1)
    late = gearbox(delay_s=0.25)
    with Player(channel, [engine(), late]):
        run = watch(f"can:{channel}?{QUICK}&signals={path}", lambda run: len(run.readings) > 4)
    assert {r.values.get("engine_rpm", 750.0) for r in run.readings} == {750.0}
    assert set(run.fluid) <= {85.3}
    assert all(run.latest().get(name, value) == value for name, value in PUBLISHED.items())
    assert not [r for r in run.readings if r.doubts.keys() & r.values.keys()]


def test_no_fluid_signal_is_told_with_what_to_do(channel: str) -> None:
    """There is no standard identifier: the link says so at once, and that it must be heard."""
    with Player(channel, [engine()]):
        run = watch(f"can:{channel}?{QUICK}", lambda run: run.readings)
    told = [notice for notice in run.notices if notice.alarm]
    assert len(told) == 1
    assert "signals=FILE.toml" in told[0].text
    assert "--find-temperature" in told[0].text
    assert run.fluid == []


def test_a_reading_carries_only_what_was_answered_now(channel: str, tmp_path: Path) -> None:
    """Slow values come in few readings; between them they are absent, not repeated."""
    path = signal_file(tmp_path, target=0x7E1)
    with Player(channel, [engine(), gearbox()]):
        run = watch(f"can:{channel}?{QUICK}&signals={path}", lambda run: len(run.fluid) > 11)
    with_coolant = [n for n, r in enumerate(run.readings) if "coolant_c" in r.values]
    assert 2 <= len(with_coolant) <= 4
    assert all("engine_rpm" in reading.values for reading in run.readings)


def test_everything_sent_only_reads(channel: str, tmp_path: Path) -> None:
    """On the wire: single frames of services 01, 09, 22, 3E, or 10 01, and flow control."""
    path = signal_file(tmp_path)
    refusing = gearbox(refusals={bytes.fromhex("221234"): [0x7F, 0]})
    with Player(channel, [engine(), refusing]) as player:
        watch(f"can:{channel}?{QUICK}&signals={path}", lambda run: len(run.readings) > 6)
        sent = [bytes(frame.data) for frame in player.frames]
    assert b"\x02\x10\x01" in {data[:3] for data in sent}
    for data in sent:
        reads = data[1] in (0x01, 0x09, 0x22, 0x3E) or data[1:3] == b"\x10\x01"
        assert data[0] >> 4 == 3 or (data[0] < 8 and reads)


@pytest.mark.parametrize(
    "payload",
    ["04", "1101", "14FFFFFF", "2701", "2E123400", "3101FF00", "1003", "1002", "85 02", "2F123403"],
)
def test_the_only_sending_function_refuses_to_do_more(channel: str, payload: str) -> None:
    """Whatever a caller asks for, physically or of all, nothing reaches the bus."""
    unit = Unit(0x7E8, 0x7E0)
    with can.Bus(interface="virtual", channel=channel) as ear:
        transport = Transport(can.Bus(interface="virtual", channel=channel), NORMAL)
        for to in (unit, None):
            with pytest.raises(NotReading):
                transport.send(bytes.fromhex(payload), to)
        with pytest.raises(NotReading):
            transport._transmit(0x7E0, False, b"", bytes.fromhex("100A2E1234000000"))
        transport.close()
        assert ear.recv(0.05) is None


@pytest.mark.slow
def test_one_function_alone_sends_on_a_bus() -> None:
    """Read from the source: a bus's `send` is called in one place, and nothing sends by timer."""
    found = []
    for path in Path(warmwatch.__file__).parent.rglob("*.py"):
        # The invented vehicle is the other end of the bus; what reads logs has no bus.
        if {"demo", "log"} & set(path.parts):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func).endswith(
                ("_bus.send", "bus.send", "send_periodic")
            ):
                found.append((path.name, ast.unparse(node.func)))
    assert found == [("transport.py", "self._bus.send")]


@pytest.mark.parametrize(
    ("address", "error", "words"),
    [
        ("can:x", UsageError, "interface="),
        ("can:?interface=virtual", UsageError, "channel"),
        ("can:x?interface=virtual&poll=soon", UsageError, "poll=soon"),
        ("can:x?interface=virtual&poll=0", UsageError, "poll=0"),
        ("can:x?interface=virtual&signals=none.toml", UsageError, "none.toml"),
        ("can:x?interface=virtual&addressing=odd", UsageError, "addressing=odd"),
        ("can:x?interface=virtual&addressing=extended", UsageError, "request_id"),
        ("can:x?interface=slcan&bitrat=500000", UsageError, "'bitrat': did you mean bitrate"),
        ("can:x?interface=virtual&adressing=fixed", UsageError, "did you mean addressing"),
        ("can:x?interface=virtual&zzz=1", UsageError, "no option 'zzz'; it has addressing"),
        ("broadcast:x?interface=virtual&databse=a.dbc", UsageError, "did you mean database"),
        ("can:x?interface=unheard_of", LinkRefused, "interface=unheard_of"),
        ("can:/dev/none?interface=slcan", LinkRefused, "/dev/none"),
    ],
)
def test_what_cannot_work_is_told_at_once(address: str, error: type[Exception], words: str) -> None:
    """Wrong options and interfaces that are not there end the link with a sentence."""
    with pytest.raises(error, match=words):
        watch(address, lambda run: False, 3.0)


_LISTED = ("phase_one", "phase_two")


class InventedBus(can.BusABC):
    """Heeds one parameter, one key, and a list of keys, as drivers do."""

    def __init__(self, channel: str, depth: int = 1, **more: object) -> None:
        self.known = (channel, depth, more.get("serial_no"), [more.get(key) for key in _LISTED])


@pytest.mark.parametrize(
    "options",
    [
        "interface=virtual&bitrate=500000",
        "interface=slcan&bitrate=500000&tty_baudrate=115200&listen_only=true",
        "interface=socketcan&bitrate=500000",  # set by the system, and often given all the same
        "interface=invented&depth=2",
        "interface=invented&serial_no=7",
        "interface=invented&phase_one=1&phase_two=2",
        "interface=invented&f_clock=8000000&brp=1",  # with others the timing of any interface
    ],
)
def test_what_an_interface_looks_up_goes_to_it(
    options: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Names that an interface heeds, as parameter, as key or from a list, are not refused."""
    monkeypatch.setitem(can.interfaces.BACKENDS, "invented", (__name__, "InventedBus"))
    open_link(parse_address(f"can:x?{options}")).close()


def test_closing_twice_and_early_is_fine(channel: str) -> None:
    """A link that was never iterated, or is closed again, closes quietly."""
    link = open_link(parse_address(f"can:{channel}?{QUICK}"))
    link.close()
    link.close()


@pytest.mark.parametrize("wide", [False, True])
def test_a_vehicle_without_standard_values_is_found_by_its_own(
    channel: str, tmp_path: Path, wide: bool
) -> None:
    """Where bitmaps meet silence, the signal file's identifiers are tried on each addressing."""
    path = signal_file(tmp_path)
    ids = (0x18DA18F1, 0x18DAF118) if wide else (0x7E1, 0x7E9)
    unit = TestUnit(*ids, dids=dict(WARM), service_01=False)
    with Player(channel, [unit]):
        run = watch(f"can:{channel}?{QUICK}&signals={path}", fluid_seen)
    assert run.fluid == [85.3]
    assert not [notice for notice in run.notices if notice.lost]
