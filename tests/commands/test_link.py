"""`warmwatch link`: steps in words, as JSON, and the search, on stand-ins in other processes."""

import io
import json
import sys
from pathlib import Path

import pytest

from tests.commands.conftest import Run
from tests.links.can_runs import signal_file as vehicle_file
from tests.standins.process import StandIn
from tests.vehicle.player import Player
from tests.vehicle.units import TestUnit
from warmwatch.analysis.finding.candidate import Candidate
from warmwatch.analysis.finding.scales import SCALES, Scale
from warmwatch.commands.find_temperature import signal_file
from warmwatch.links.asking.units import Unit
from warmwatch.links.trying import asking
from warmwatch.signals import decode, load_signal_file

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")


@pytest.fixture(autouse=True)
def short_trials(monkeypatch: pytest.MonkeyPatch) -> None:
    """A little polling shows as much here as five do on a vehicle."""
    monkeypatch.setattr(asking, "TRY_POLLS_S", 1.5)


def names_and_states(out: str) -> list[tuple[str, str]]:
    content = json.loads(out)
    return [(step["name"], step["state"]) for step in content["steps"]]


@pytest.mark.slow
def test_a_good_adapter_step_by_step(warmwatch: Run, tmp_path: Path) -> None:
    """Each step stands on its line, in order; all well is exit 0; the caution goes to stderr."""
    with StandIn("text_adapter.py", "--pty") as adapter:
        file = vehicle_file(tmp_path, target="0x7E1")
        ran = warmwatch("link", f"serial:{adapter.address}?signals={file}")
    lines = ran.out.splitlines()
    assert lines[:7] == [
        f"ok      port opened             {adapter.address}",
        "ok      adapter answers         it calls itself 'INVENTED TEXT ADAPTER 1.0'",
        "ok      adapter set up          it knows every command asked of it",
        "ok      voltage at the plug     13.8 V",
        "ok      bus                     CAN, 11bit-500k",
        "ok      units that answer       7E8, 7E9",
        "ok      signals to ask for      fluid_c, coolant_c, engine_rpm, speed_kmh, voltage_v",
    ]
    assert lines[7].startswith("ok      fluid temperature now   20.")
    assert lines[9].startswith("ok      readings a second")
    assert ran.code == 0
    assert "exhaust gas" in ran.err


@pytest.mark.slow
def test_without_a_fluid_signal_it_fails_and_says_what_next(warmwatch: Run) -> None:
    """The JSON object has every step; no fluid temperature is a failure with advice."""
    with StandIn("text_adapter.py", "--pty") as adapter:
        ran = warmwatch("link", f"serial:{adapter.address}", "--json")
    assert ran.code == 1
    states = dict(names_and_states(ran.out))
    assert states["units that answer"] == "ok"
    assert states["fluid temperature now"] == "failed"
    assert json.loads(ran.out)["state"] == "failed"
    advice = [step["advice"] for step in json.loads(ran.out)["steps"] if step["state"] == "failed"]
    assert all("--find-temperature" in text for text in advice)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("fault", "step", "advice"),
    [
        ("silent", "adapter answers", "baud"),
        ("unable", "vehicle answers", "ignition"),
        ("buserror", "vehicle answers", "?bus=11bit-500k"),
    ],
)
def test_a_failed_step_names_what_to_try(
    warmwatch: Run, fault: str, step: str, advice: str
) -> None:
    """A dead adapter and a vehicle that is off are told apart, each with what to try next."""
    with StandIn("text_adapter.py", "--tcp") as adapter:
        adapter.fault(fault)
        ran = warmwatch("link", f"serial:{adapter.address}", "--json")
    assert ran.code == 1
    last = json.loads(ran.out)["steps"][-1]
    assert (last["name"], last["state"]) == (step, "failed")
    assert advice in last["advice"]


@pytest.mark.slow
def test_an_adapter_that_knows_less_is_told_so(warmwatch: Run) -> None:
    """Commands that are not known are named by what they do."""
    with StandIn("text_adapter.py", "--pty", "--unknown", "ATS0,ATRV") as adapter:
        ran = warmwatch("link", f"serial:{adapter.address}")
    assert "unknown adapter set up          it does not know: spaces off" in ran.out
    assert "unknown voltage at the plug     the adapter cannot tell" in ran.out


def test_a_missing_port_lists_those_that_exist(warmwatch: Run) -> None:
    """The first step fails in one line that names the ports of this computer."""
    ran = warmwatch("link", "serial:/dev/no-such-port")
    assert ran.code == 1
    assert ran.out.startswith("failed  port opened             /dev/no-such-port cannot be opened")
    assert "This computer has" in ran.out
    assert len(ran.out.splitlines()) == 1


@pytest.mark.slow
def test_can_step_by_step(warmwatch: Run, tmp_path: Path) -> None:
    """A can: link shows the interface, the units, the standard signals, and the fluid now."""
    engine = TestUnit(
        0x7E0,
        0x7E8,
        pids={0x00: bytes.fromhex("08180001"), 0x20: bytes.fromhex("00000001"),
              0x40: bytes.fromhex("40000000"), 0x05: b"\x5a", 0x0C: b"\x0c\x80", 0x0D: b"\x00",
              0x42: b"\x35\xe8"},
    )  # fmt: skip
    gearbox = TestUnit(0x7E1, 0x7E9, dids={0x1234: (853).to_bytes(2, "big")})
    file = vehicle_file(tmp_path, target="0x7E1")
    with Player("trial", [engine, gearbox]):
        address = f"can:trial?interface=virtual&signals={file}&answer=0.1&poll=0.2"
        ran = warmwatch("link", address, "--json")
    steps = {step["name"]: step for step in json.loads(ran.out)["steps"]}
    assert ran.code == 0, ran.out
    assert steps["interface opened"]["state"] == "ok"
    assert "7E8" in steps["units that answer"]["seen"]
    assert "coolant_c" in steps["signals to ask for"]["seen"]
    assert "voltage 13.8 V" in steps["other values now"]["seen"]
    assert steps["fluid temperature now"]["seen"] == "85.3 °C"


@pytest.mark.slow
def test_can_finds_a_vehicle_that_answers_its_own_identifiers_only(
    warmwatch: Run, tmp_path: Path
) -> None:
    """As `watch` does: where the standard's requests meet silence, the signal file's are tried."""
    unit = TestUnit(0x7E1, 0x7E9, dids={0x1234: (853).to_bytes(2, "big")}, service_01=False)
    file = vehicle_file(tmp_path, target="0x7E1")
    with Player("own", [unit]):
        address = f"can:own?interface=virtual&signals={file}&answer=0.1&poll=0.2&bitrate=500000"
        ran = warmwatch("link", address, "--json")
    steps = {step["name"]: step for step in json.loads(ran.out)["steps"]}
    assert ran.code == 0, ran.out
    assert steps["units that answer"]["seen"] == "7E9"
    assert steps["fluid temperature now"]["seen"] == "85.3 °C"
    assert steps["bus speed"]["state"] == "unknown"  # nothing here proves it


@pytest.mark.slow
def test_can_tells_a_voltage_that_is_offered_over_service_22(
    warmwatch: Run, tmp_path: Path
) -> None:
    """The mirror of PID 42 at F442 is read as well: 13800 mV."""
    records = {0xF40C: b"\x0c\x80", 0xF442: (13800).to_bytes(2, "big"), 0x1234: b"\x03\x55"}
    unit = TestUnit(0x7E0, 0x7E8, dids=records, service_01=False)
    with Player("mirror", [unit]):
        file = vehicle_file(tmp_path)
        address = f"can:mirror?interface=virtual&signals={file}&answer=0.1&poll=0.2"
        ran = warmwatch("link", address, "--json")
    steps = {step["name"]: step for step in json.loads(ran.out)["steps"]}
    assert "voltage 13.8 V" in steps["other values now"]["seen"]


def test_a_can_port_that_is_not_there_lists_those_that_are(warmwatch: Run) -> None:
    """One line with the ports; a wrong bitrate is told as that and not as a missing plug."""
    ran = warmwatch("link", "can:no-such-port?interface=slcan")
    assert ran.code == 1
    assert "check that the adapter is plugged in. This computer has" in ran.out


def test_no_rate_is_told_for_what_came_at_once(
    warmwatch: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Three lines out of a pipe in a millisecond are no 3000 readings a second."""
    (tmp_path / "lines").write_text("41\n42\n43\n", encoding="utf-8")
    with (tmp_path / "lines").open("rb") as file:
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(file))
        ran = warmwatch("link", "lines:-")
    assert "fluid temperature now   43.0 °C" in ran.out
    assert "unknown readings a second       too few came to say" in ran.out


@pytest.mark.slow
def test_can_without_anybody_says_what_to_try(warmwatch: Run) -> None:
    """Silence on a bus is a failed step with the ignition, the plug and the bitrate to check."""
    ran = warmwatch("link", "can:nobody?interface=virtual&answer=0.05", "--json")
    last = json.loads(ran.out)["steps"][-1]
    assert ran.code == 1
    assert (last["name"], last["state"]) == ("units that answer", "failed")
    assert "bitrate" in last["advice"]


def test_any_other_link_is_listened_to(warmwatch: Run, tmp_path: Path) -> None:
    """A file of readings shows the fluid, too."""
    (tmp_path / "some.csv").write_text(
        "elapsed_s,fluid_c\n" + "".join(f"{n},{40 + n / 10}\n" for n in range(20)),
        encoding="utf-8",
    )
    ran = warmwatch("link", "some.csv")
    assert ran.code == 0, ran.out + ran.err
    assert "fluid temperature now   41.9 °C" in ran.out


def test_the_search_asks_first(
    warmwatch: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a yes no identifier is asked for; the warning names count, unit and cautions."""
    log = tmp_path / "sent.txt"
    monkeypatch.setattr("click.confirm", lambda *_, **__: False)
    with StandIn("text_adapter.py", "--pty", "--log", str(log)) as adapter:
        ran = warmwatch("link", f"serial:{adapter.address}", "--find-temperature", "1230:123F")
    assert ran.code == 1
    assert "asks unit 7E9 for 16 identifiers" in ran.err
    assert "It only reads" in ran.err
    assert "Nothing was asked" in ran.err
    assert not [line for line in log.read_text(encoding="utf-8").split() if line.startswith("22")]


def test_a_search_says_when_only_the_engine_answers(
    warmwatch: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A gearbox that serves no standard value is not seen: the search names where it often is."""
    monkeypatch.setattr("click.confirm", lambda *_, **__: False)
    engine = TestUnit(0x7E0, 0x7E8, pids={0x0C: b"\x0c\x80"})
    address = "can:single?interface=virtual&answer=0.1"
    with Player("single", [engine, TestUnit(0x7E1, 0x7E9, dids={0x1234: b"\x03\x55"})]):
        ran = warmwatch("link", address, "--find-temperature", "1230:123F")
        named = warmwatch("link", address, "--find-temperature", "--unit-address", "7E1")
    assert "Only 7E8 answers" in ran.err
    assert "--unit-address 7E1" in ran.err
    assert "Only" not in named.err


@pytest.mark.slow
def test_a_short_search_ranks_the_fluid_first_and_offers_no_file(
    warmwatch: Run, tmp_path: Path
) -> None:
    """Sweep, watch, rank end to end: both places of the fluid lead, but the watch was too short.

    The stand-in's vehicle lives eight times as fast; after a minute of its time fluid
    and coolant cannot be told apart for certain, so that nothing is written.
    """
    found = tmp_path / "found.toml"
    with StandIn("text_adapter.py", "--pty", "--pace", "8", "--standing", "2") as adapter:
        ran = warmwatch(
            "link", f"serial:{adapter.address}", "--find-temperature", "1234:1236", "--yes",
            "--rate", 10, "--minutes", 0.15, "--out", found, "--json",
        )  # fmt: skip
    content = json.loads(ran.out)
    places = [(one["identifier"], one["first_byte"]) for one in content["candidates"][:2]]
    assert set(places) == {(0x1234, 0), (0x1235, 7)}
    assert content["unit"] == "7E9"
    assert content["signal_file"] is None
    assert not found.exists()
    assert ran.code == 1


@pytest.mark.parametrize("scale", SCALES, ids=str)
def test_the_file_of_a_candidate_is_a_signal_file(scale: Scale, tmp_path: Path) -> None:
    """At each scale the file loads, decodes as the candidate did, and says it is not confirmed."""
    one = Candidate(0x1E1C, 1, scale, 4, 0.9, 20.0, 80.0, ("rises by 60.0 K",))
    text = signal_file(one, Unit(0x18DAF118, 0x18DA18F1), "serial")
    assert "NOT confirmed" in text
    assert "# - rises by 60.0 K" in text
    path = tmp_path / "found.toml"
    path.write_text(text, encoding="utf-8")
    (signal,) = load_signal_file(path).signals
    assert (signal.name, signal.ask, signal.target) == ("fluid_c", "22 1E1C", 0x18DA18F1)
    number = int.from_bytes(b"\x20\x40"[: scale.length], "big") * scale.factor + scale.offset
    expected = (number - 32.0) / 1.8 if scale.unit == "F" else number
    assert decode(signal, b"\x00\x20\x40\x00").value == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("options", "named"),
    [
        (("--find-temperature", "20:10"), "--find-temperature 20:10"),
        (("--find-temperature", "xyz"), "--find-temperature xyz"),
        (("--find-temperature", "10:20", "--rate", "50"), "--rate 50"),
        (("--find-temperature", "10:20", "--minutes", "0"), "--minutes 0"),
        (("--find-temperature", "10:20", "--unit-address", "zz"), "--unit-address zz"),
    ],
)
def test_wrong_use_is_exit_2(warmwatch: Run, options: tuple[str, ...], named: str) -> None:
    """Wrong options are one sentence that names them."""
    ran = warmwatch("link", "serial:/dev/null", *options)
    assert ran.code == 2
    assert named in ran.err


def test_a_search_needs_a_link_that_asks_and_never_overwrites(
    warmwatch: Run, tmp_path: Path
) -> None:
    """lines: asks no questions; a file that is there already is not written over."""
    ran = warmwatch("link", "lines:-", "--find-temperature", "10:20")
    assert ran.code == 2
    assert "asks no questions" in ran.err
    (tmp_path / "there.toml").write_text("mine", encoding="utf-8")
    ran = warmwatch("link", "serial:x", "--find-temperature", "10:20", "--out", "there.toml")
    assert ran.code == 2
    assert (tmp_path / "there.toml").read_text(encoding="utf-8") == "mine"
