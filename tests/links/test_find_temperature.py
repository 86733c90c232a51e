"""The search from the command line; the vehicle is another process and knows service 22 only."""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.links.can_runs import signal_file
from tests.links.test_can_reconnect import ROOT, FarEnd
from tests.standins.process import StandIn
from tests.vehicle.warming import FLUID_BYTE, FLUID_IDENTIFIER, Warming

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX"),
]

PACE, STANDING_S = 16.0, 4.0


@pytest.fixture
def bare(tmp_path: Path) -> Iterator[FarEnd]:
    """An adapter with a cold vehicle behind it that is started STANDING_S after it is watched."""
    far_end = FarEnd(tmp_path / "port")
    far_end.plug(f"bare@{PACE:g}@{STANDING_S:g}")
    yield far_end
    far_end.unplug()


def warmwatch(folder: Path, *arguments: str, longest_s: float = 90.0) -> tuple[int, str, str]:
    """Run the command in a process of its own; return its exit code and what it printed."""
    ran = subprocess.run(
        [sys.executable, "-m", "warmwatch", *arguments],
        cwd=folder, env={"PYTHONPATH": str(ROOT), "PATH": ""}, timeout=longest_s,
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return ran.returncode, ran.stdout, ran.stderr


def test_a_vehicle_without_standard_answers_is_searched_and_then_watched(
    bare: FarEnd, tmp_path: Path
) -> None:
    """The named unit is asked though nobody answers the standard's requests, the fluid's place and
    scale come first among nine that move, and `watch` reads the truth with the file of it.

    In three quarters of a minute the coolant, too, bends clearly: with less it hangs on a sample
    which of the two rises sooner.
    """
    address = f"can:{bare.path}?interface=slcan&bitrate=500000&sleep_after_open=0&answer=0.4"
    code, out, err = warmwatch(
        tmp_path, "link", address, "--find-temperature", "1101:110C", "--unit-address", "7E1",
        "--air", "18", "--rate", "10", "--minutes", "0.75", "--yes", "--out", "found.toml",
    )  # fmt: skip
    assert code == 0, out + err
    assert "silence to the standard's requests; 7E1 is asked all the same" in err
    assert "12 asked, 11 answer" in err
    best = next(line for line in out.splitlines() if line.startswith("1. "))
    place = f"22 {FLUID_IDENTIFIER:04X} byte {FLUID_BYTE}"
    assert best.startswith(f"1. {place}, unsigned 16-bit x 0.0625 -40 °C: score 0.")
    assert "from the air (18.0 °C)" in out
    assert "NOT confirmed" in (tmp_path / "found.toml").read_text(encoding="utf-8")

    code, out, err = warmwatch(
        tmp_path, "watch", f"{address}&poll=0.2&signals=found.toml", "--band", "80:90",
        "--until", "2", "--no-record", "--json", "--quiet",
    )  # fmt: skip
    now_c = Warming(PACE, STANDING_S, float(bare.line())).fluid_c()
    items = [json.loads(line) for line in out.splitlines()]
    fluid = [item["fluid_c"] for item in items if item["kind"] == "reading"]
    assert len(fluid) >= 5, out + err
    slowest_c = now_c - 4.0 * PACE * 80.0 / 550.0  # the watch took less than four seconds
    assert all(slowest_c <= value <= now_c + 0.1 for value in fluid)


def test_the_steps_come_as_they_are_taken(tmp_path: Path) -> None:
    """The first step of `warmwatch link` is printed before the survey of a silent bus is over."""
    far_end = FarEnd(tmp_path / "port")
    far_end.plug(853)
    far_end.fault("off")
    address = f"can:{far_end.path}?interface=slcan&bitrate=500000&sleep_after_open=0&answer=2"
    command = [sys.executable, "-m", "warmwatch", "link", address]
    with subprocess.Popen(
        command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline().startswith("ok      interface opened")
        first_s = time.monotonic()
        rest = process.stdout.read()
    far_end.unplug()
    assert "\nfailed  units that answer" in rest
    assert time.monotonic() - first_s > 2.0


@pytest.mark.parametrize(
    ("fault", "options", "words"),
    [
        ("none", "bitrate=250000", "check the bitrate"),
        ("noise", "bitrate=500000", "tty_baudrate="),
        ("locked", "bitrate=500000&signals=vehicle.toml", "check the identifier and the unit"),
    ],
)
def test_a_failed_step_says_what_to_try_for_what_is_wrong(
    tmp_path: Path, fault: str, options: str, words: str
) -> None:
    """A wrong bitrate, an adapter's port at a wrong speed, and an identifier that is refused."""
    signal_file(tmp_path, target="0x7E1")
    far_end = FarEnd(tmp_path / "port")
    far_end.plug(853)
    far_end.fault(fault)
    address = f"can:{far_end.path}?interface=slcan&sleep_after_open=0&answer=0.1&{options}"
    code, out, _ = warmwatch(tmp_path, "link", address, "--json")
    far_end.unplug()
    assert code == 1
    assert any(words in step["advice"] for step in json.loads(out)["steps"])


def test_a_text_adapter_searches_a_vehicle_without_standard_answers(tmp_path: Path) -> None:
    """The adapter cannot find the bus by itself; the named unit's address says which is usual."""
    with StandIn("text_adapter.py", "--pty") as adapter:
        adapter.fault("bare")
        _, out, err = warmwatch(
            tmp_path, "link", f"serial:{adapter.address}", "--find-temperature", "1230:1237",
            "--unit-address", "7E1", "--rate", "10", "--minutes", "0.02", "--yes", "--json",
        )  # fmt: skip
        unnamed = warmwatch(
            tmp_path, "link", f"serial:{adapter.address}", "--find-temperature", "--yes"
        )
    assert "7E1 is asked all the same on 11bit-500k" in err
    assert json.loads(out)["answered"] == ["1234", "1235", "1236", "1237"]
    assert unnamed[0] == 1
    assert "--unit-address" in unnamed[2]


def test_a_refusal_is_told_by_the_trial_of_a_text_adapter(tmp_path: Path) -> None:
    """Why the fluid is not read stands between the steps: it is locked."""
    signal_file(tmp_path, target="0x7E1")
    with StandIn("text_adapter.py", "--pty") as adapter:
        adapter.fault("locked")
        _, out, _ = warmwatch(tmp_path, "link", f"serial:{adapter.address}?signals=vehicle.toml")
    assert "failed  link says               7E9 gives no fluid_c (22 1234)" in out
    assert "code 33" in out


def test_a_code_for_an_error_is_no_fault_of_a_file(tmp_path: Path) -> None:
    """A J1939 sender that says `error` is a case for the engine or the service information."""
    far_end = FarEnd(tmp_path / "port")
    far_end.plug("talk", "0.2")
    far_end.fault("error")
    address = f"broadcast:{far_end.path}?interface=slcan&sleep_after_open=0"
    code, out, _ = warmwatch(tmp_path, "link", address)
    far_end.unplug()
    assert code == 1
    assert "not believed: the control unit sends the code for 'error'" in out
    assert "next: the sender may need the running engine" in out
