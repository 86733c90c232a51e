"""`broadcast:` against frames put on a virtual bus by hand."""

import re
import threading
import time
import uuid
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.links.can_runs import Run, follow, watch
from tests.signals.rows import rows
from warmwatch.core.notice import Notice
from warmwatch.core.units import implausible
from warmwatch.errors import LinkRefused, UsageError
from warmwatch.links.address import parse_address
from warmwatch.links.base import open_link
from warmwatch.links.broadcast.decoder import J1939Decoder
from warmwatch.links.broadcast.listening import Listened
from warmwatch.links.broadcast.port import SILENT_S
from warmwatch.links.can.bus import BusOpener
from warmwatch.links.live import Values
from warmwatch.links.python_can import can

TRF1, ET1, EEC1, SPEED, AMBIENT = 0x18FEF803, 0x18FEEE00, 0x0CF00400, 0x18FEF100, 0x18FEF500
# Rows of j1939_cases.csv: 90 degC with level 80 %, 1 l over, 2 min, valid; 90 and 92 degC; 752 rpm;
# 32 km/h; 20 degC.
FRAMES = {
    TRF1: "19C80532602D7F02",
    ET1: "82FFA02DFFFFFFFF",
    EEC1: "FFFFFF8017FFFFFF",
    SPEED: "FF0020FFFFFFFFFF",
    AMBIENT: "CAFFFFA024FFFFFF",
}
EXPECTED = {
    "fluid_c": 90.0,
    "oil_level_pct": 80.0,
    "oil_level_offset_l": 1.0,
    "oil_level_timer_min": 2.0,
    "oil_level_status": 0.0,
    "coolant_c": 90.0,
    "engine_oil_c": 92.0,
    "engine_rpm": 752.0,
    "speed_kmh": 32.0,
    "ambient_c": 20.0,
}


class Talker:
    """Repeats frames on a virtual bus from a thread, and hears whatever else is sent."""

    def __init__(self, frames: dict[int, str], wide: bool = True) -> None:
        self.channel = uuid.uuid4().hex
        self.frames = frames
        self.heard: list[can.Message] = []
        self._wide = wide
        self._bus = can.Bus(interface="virtual", channel=self.channel)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)

    def __enter__(self) -> "Talker":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()
        self._bus.shutdown()

    def _run(self) -> None:
        while not self._stop.is_set():
            for can_id, data in list(self.frames.items()):
                self._bus.send(can_message(can_id, data, self._wide))
            message = self._bus.recv(0.02)
            if message is not None:
                self.heard.append(message)


def can_message(can_id: int, data: str, wide: bool = True) -> can.Message:
    return can.Message(arbitration_id=can_id, data=bytes.fromhex(data), is_extended_id=wide)


def address(talker: Talker, more: str = "") -> str:
    return f"broadcast:{talker.channel}?interface=virtual&poll=0.1{more}"


def test_j1939_is_heard_and_nothing_is_sent() -> None:
    """The published frames give the published values; the bus hears no frame of ours."""
    with Talker(dict(FRAMES)) as talker:
        run = watch(address(talker), lambda run: EXPECTED.keys() <= run.latest().keys())
        assert run.latest() == pytest.approx(EXPECTED)
        assert "18FEF803 19C80532602D7F02" in {reading.raw for reading in run.readings}
    assert talker.heard == []


STATUS_ROWS = [row for row in rows("j1939_cases.csv") if row["spn"] == "177"]


@pytest.mark.parametrize("row", STATUS_ROWS, ids=lambda row: row["data_hex"])
def test_a_code_of_the_fluid_is_doubtful_and_no_temperature(row: dict[str, str]) -> None:
    """Each published case of SPN 177: a value, or a doubt that names the code and no value."""
    listened = Listened(J1939Decoder(), 1.0)
    listened.hear(int(row["can_id_hex"], 16), True, bytes.fromhex(row["data_hex"]), 0.0)
    (values,) = [item for item in listened.due(0.0) if isinstance(item, Values)]
    if row["status"] == "ok":
        assert values.values["fluid_c"] == float(row["expected"])
        assert values.doubts.get("fluid_c", "") == str(
            implausible("fluid_c", float(row["expected"])) or ""
        )
    else:
        assert "fluid_c" not in values.values
        assert row["status"] in values.doubts["fluid_c"]
    assert values.raw == f"{row['can_id_hex']} {row['data_hex']}"


def hear(listened: Listened, frames: Sequence[tuple[int, str]], now_s: float) -> None:
    for can_id, data in frames:
        listened.hear(can_id, True, bytes.fromhex(data), now_s)


def values_of(listened: Listened, now_s: float) -> dict[str, float]:
    found: dict[str, float] = {}
    for item in listened.due(now_s):
        if isinstance(item, Values):
            found.update(item.values)
    return found


def test_a_value_is_handed_over_once_and_the_fluid_at_once() -> None:
    """Nothing old is repeated; the fluid does not wait for the end of the pause."""
    listened = Listened(J1939Decoder(), 1.0)
    hear(listened, [(ET1, FRAMES[ET1])], 0.0)
    assert values_of(listened, 0.0).keys() == {"coolant_c", "engine_oil_c"}
    assert listened.due(2.0) == []
    hear(listened, [(EEC1, FRAMES[EEC1])], 2.0)
    assert values_of(listened, 2.0).keys() == {"engine_rpm"}
    hear(listened, [(EEC1, FRAMES[EEC1])], 2.5)
    assert listened.due(2.6) == []
    hear(listened, [(TRF1, FRAMES[TRF1])], 2.85)
    assert "fluid_c" in values_of(listened, 2.85)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ("FFC8FFFF602D7B13", "timer is still running"),
        ("FFC8FFFF602D7B63", "not level"),
        ("FFC8FFFF602D7B0F", "conditions are right"),
    ],
)
def test_the_transmissions_own_reason_is_told_once(data: str, words: str) -> None:
    """SPN 3026 says why its level reading is not valid yet; it is told when it changes."""
    listened = Listened(J1939Decoder(), 0.5)
    for now_s in (0.0, 1.0, 2.0):
        hear(listened, [(TRF1, data)], now_s)
        notices = [item.text for item in listened.due(now_s) if isinstance(item, Notice)]
        told = [text for text in notices if "oil level" in text]
        assert len(told) == (now_s == 0.0)
        assert all(words in text for text in told)


@given(st.lists(st.tuples(st.integers(0, 0x1FFFFFFF), st.binary(max_size=8)), max_size=30))
def test_no_traffic_breaks_the_ear(frames: list[tuple[int, bytes]]) -> None:
    """Any identifiers and bytes give values in their code's range, doubts, or nothing."""
    listened = Listened(J1939Decoder(), 0.0)
    for number, (can_id, data) in enumerate(frames):
        listened.hear(can_id, True, data, float(number))
        for item in listened.due(float(number)):
            if isinstance(item, Values) and "fluid_c" in item.values:
                assert can_id >> 8 & 0xFFFF == 0xFEF8
                assert len(data) >= 6
                assert data[5] <= 0xFA


def test_a_silent_bus_is_lost_and_comes_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ignition off: lost is told in time, nothing is repeated, and new values come after."""
    assert SILENT_S < 5.0
    monkeypatch.setattr("warmwatch.links.broadcast.port.SILENT_S", 0.5)
    with Talker(dict(FRAMES)) as talker:
        link = open_link(parse_address(address(talker)))
        try:
            run = follow(link, lambda run: len(run.fluid) > 2)
            talker.frames = {}
            began_s = time.monotonic()
            follow(link, lambda run: any(n.lost for n in run.notices), run=run)
            assert time.monotonic() - began_s < 5.0 - SILENT_S
            before = len(run.readings)
            talker.frames = {TRF1: "19C80532202D7F02"}
            follow(link, lambda run: len(run.readings) > before, 15.0, run)
            assert run.readings[-1].values["fluid_c"] == pytest.approx(0x2D20 / 32 - 273)
        finally:
            link.close()


def test_traffic_without_the_fluid_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Other traffic is no reading: what is missing is said, and must be heard."""
    monkeypatch.setattr("warmwatch.links.broadcast.port.NO_FLUID_S", 0.3)
    with Talker({EEC1: FRAMES[EEC1], 0x123: "00"}) as talker:
        run = watch(address(talker), lambda run: [n for n in run.notices if n.alarm])
    assert "65272" in run.texts
    assert run.fluid == []


def test_a_wrong_bitrate_is_guessed_from_errors(monkeypatch: pytest.MonkeyPatch) -> None:
    """Error frames and nothing else: the bitrate is asked about."""
    monkeypatch.setattr("warmwatch.links.broadcast.port.SILENT_S", 0.3)
    channel = uuid.uuid4().hex
    with can.Bus(interface="virtual", channel=channel) as far:
        link = open_link(parse_address(f"broadcast:{channel}?interface=virtual"))
        try:

            def disturbed(run: Run) -> bool:
                far.send(can.Message(is_error_frame=True))
                return any(n.lost for n in run.notices)

            assert "bitrate" in follow(link, disturbed).texts
        finally:
            link.close()


@pytest.mark.parametrize(("given", "passed"), [("", True), ("&listen_only=false", False)])
def test_a_serial_adapter_is_opened_to_listen_only(
    monkeypatch: pytest.MonkeyPatch, given: str, passed: bool
) -> None:
    """A wrong bitrate must not disturb the bus: slcan is opened so unless told otherwise."""
    seen: list[dict[str, object]] = []

    def keep(self: BusOpener) -> can.BusABC:
        seen.append(dict(self.given))
        raise LinkRefused("seen enough")

    monkeypatch.setattr(BusOpener, "open", keep)
    with pytest.raises(LinkRefused):
        watch(f"broadcast:/dev/x?interface=slcan{given}", lambda run: False)
    assert seen == [{"interface": "slcan", "listen_only": passed}]


DBC = """VERSION ""
NS_ :
BS_:
BU_: Box
BO_ 800 Gear: 8 Box
 SG_ Mode M : 0|8@1+ (1,0) [0|255] "" Box
 SG_ FluidTemp m0 : 8|8@1+ (1,-40) [-40|200] "degC" Box
 SG_ FluidTempF m1 : 8|16@1+ (0.5,0) [0|400] "degF" Box
 SG_ Other m2 : 8|8@1- (1,0) [-100|100] "degC" Box
BO_ 2566846718 Trans: 8 Box
 SG_ Oil : 32|16@1+ (0.03125,-273) [-273|1735] "degC" Box
BA_DEF_ BO_ "VFrameFormat" ENUM "StandardCAN","ExtendedCAN","reserved","J1939PG";
BA_DEF_DEF_ "VFrameFormat" "StandardCAN";
BA_ "VFrameFormat" BO_ 2566846718 3;
VAL_ 800 FluidTemp 254 "Sensor fault" 255 "Signal not available" ;
"""


@pytest.fixture
def dbc(tmp_path: Path) -> Path:
    """A database file, invented for the tests."""
    path = tmp_path / "invented.dbc"
    path.write_text(DBC, encoding="utf-8")
    return path


def heard_by(dbc: Path, signal: str, can_id: int, data: str, wide: bool = False) -> Values | None:
    from warmwatch.links.broadcast.database import DatabaseDecoder

    listened = Listened(DatabaseDecoder(str(dbc), {"fluid_c": signal}), 0.0)
    listened.hear(can_id, wide, bytes.fromhex(data), 0.0)
    return next((item for item in listened.due(0.0) if isinstance(item, Values)), None)


CASES: list[tuple[str, int, str, bool, float | None, str]] = [
    ("Gear.FluidTemp", 800, "007D000000000000", False, 85.0, ""),
    ("Gear.FluidTemp", 800, "00FF000000000000", False, None, "Signal not available"),
    ("Gear.FluidTemp", 800, "00FE000000000000", False, None, "Sensor fault"),
    ("Gear.FluidTemp", 800, "00FA000000000000", False, 210.0, "outside"),
    ("Gear.FluidTemp", 800, "007D", False, None, "does not fit"),
    ("Gear.FluidTempF", 800, "0172010000000000", False, 85.0, ""),
    ("Trans.Oil", 0x18FEF803, "FFFFFFFFC02CFFFF", True, 85.0, ""),
    ("Trans.Oil", 0x1CFEF8FE, "FFFFFFFF00FEFFFF", True, None, "error"),
    ("Trans.Oil", 0x1CFEF8FE, "FFFFFFFFFFFFFFFF", True, None, "not available"),
]


@pytest.mark.parametrize(("signal", "can_id", "data", "wide", "value", "doubt"), CASES)
def test_a_database_signal_is_read(
    dbc: Path, signal: str, can_id: int, data: str, wide: bool, value: float | None, doubt: str
) -> None:
    """Values by cantools; named codes, bad lengths and ranges are doubts; degF becomes degC."""
    values = heard_by(dbc, signal, can_id, data, wide)
    assert values is not None
    assert values.values.get("fluid_c") == (None if value is None else pytest.approx(value))
    assert doubt in values.doubts.get("fluid_c", "")
    assert bool(doubt) is ("fluid_c" in values.doubts)


@pytest.mark.parametrize(
    ("can_id", "data", "wide"),
    [
        (800, "017D000000000000", False),  # another multiplex
        (801, "007D000000000000", False),  # another message
        (800, "007D000000000000", True),  # the same number with 29 bits
    ],
)
def test_frames_that_do_not_carry_the_signal_say_nothing(
    dbc: Path, can_id: int, data: str, wide: bool
) -> None:
    """What is not in a frame is neither a value nor a doubt."""
    assert heard_by(dbc, "Gear.FluidTemp", can_id, data, wide) is None


def test_a_database_link_works_on_a_bus(dbc: Path) -> None:
    """The whole way from a frame on the bus to a reading, by an address."""
    with Talker({800: "007D000000000000"}, wide=False) as talker:
        run = watch(
            address(talker, f"&database={dbc}&fluid_c=Gear.FluidTemp"),
            lambda run: len(run.fluid) > 1,
        )
    assert set(run.fluid) == {85.0}


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("&database={dbc}", "fluid_c=Message.Signal"),
        ("&database={dbc}&fluid_c=Gear.None", "FluidTemp"),
        ("&database={dbc}&fluid_c=None.Oil", "no message 'None'"),
        ("&database={dbc}&fluid_c=Oil", "no message 'Oil'"),
        ("&database=none.dbc&fluid_c=A.B", "cannot be read"),
        ("&database={itself}&fluid_c=A.B", "not a database file"),
        ("&fluid_c=A.B", "database=FILE"),
    ],
)
def test_a_wrong_database_option_is_told(dbc: Path, more: str, words: str) -> None:
    """What is missing or misspelt is named, with exit code 2."""
    text = more.format(dbc=dbc, itself=__file__)
    with pytest.raises(UsageError, match=words):
        open_link(parse_address(f"broadcast:x?interface=virtual{text}"))


def test_nothing_in_the_listening_code_can_send() -> None:
    """Read from the source: no `send` is called in the modules of `broadcast:`."""
    import warmwatch.links.broadcast as room

    sources = sorted(Path(room.__file__).parent.glob("*.py"))
    assert len(sources) >= 3
    for source in sources:
        assert not re.search(r"\.send\b", source.read_text(encoding="utf-8"))
