"""The driver against scapy's ECU, over frames and through a text adapter: the same on both.

The ECU (tests/standins/scapy_ecu.py) is another process and was not written here. It stands for
units that are busy, refuse for a moment, answer late or ask for time.
"""

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

import pytest

from tests.links.can_runs import FLUID_FILE, Run, signal_file
from tests.links.test_serial import Bench
from tests.standins.process import StandIn
from warmwatch.links.address import parse_address
from warmwatch.links.base import open_link

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX"),
]

LONGEST_S = 30.0
"""For a machine that does much else; each takes a few seconds."""


@contextmanager
def opened(transport: str, file: Path, *options: str, more: str = "") -> Iterator[Bench]:
    """A watched link to the ECU by a transport; `options` are the ECU's, `more` the link's."""
    text = transport == "text"
    with StandIn("scapy_ecu.py", *(["--text"] if text else []), *options) as ecu:
        frames = f"can:{ecu.address}?interface=slcan&poll=0.2&signals={file}{more}"
        address = f"serial:{ecu.address}?signals={file}{more}" if text else frames
        with Bench(open_link(parse_address(address)), ecu) as made:
            yield made


@pytest.fixture(params=["frames", "text"])
def bench(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Bench]:
    """A watched link to the ECU by each transport."""
    with opened(request.param, signal_file(tmp_path, target="0x7E1")) as made:
        yield made


def read_on(bench: Bench, count: int) -> Run:
    """Read until `count` more fluid temperatures came; all of them are the ECU's."""
    before = len(bench.run.fluid)
    bench.until(lambda run: len(run.fluid) >= before + count, longest_s=LONGEST_S)
    assert set(bench.run.fluid) == {85.3}
    assert not any(notice.lost for notice in bench.run.notices)
    return bench.run


def longest_gap_s(run: Run, after: int) -> float:
    """Return the longest time between two fluid temperatures, from the reading `after` on."""
    times = [reading.elapsed_s for reading in run.readings[after:] if "fluid_c" in reading.values]
    return max(later - earlier for earlier, later in pairwise(times))


def test_a_unit_that_is_busy_every_second_time_is_read(bench: Bench) -> None:
    """21 between answers is no disagreement, and blames neither cable nor ignition."""
    read_on(bench, 2)
    bench.fault("busy")
    run = read_on(bench, 10)
    assert "cannot be read" not in run.texts
    assert "ignition" not in run.texts


@pytest.mark.parametrize(
    "code",
    [0x11, pytest.param(0x31, marks=pytest.mark.slow), pytest.param(0x12, marks=pytest.mark.slow)],
)
def test_a_passing_refusal_after_answers_costs_a_moment(bench: Bench, code: int) -> None:
    """11 or 31 once: told with the words that it answered before, and asked again soon."""
    read_on(bench, 3)
    after = len(bench.run.readings) - 1
    bench.fault("once", code)
    run = read_on(bench, 5)
    assert "7E9 answered for fluid_c (22 1234) before and now refuses" in run.texts
    assert f"code {code:02X}" in run.texts
    assert longest_gap_s(run, after) < 4.0  # it was 13 s, or for ever


def test_a_lasting_refusal_is_never_given_up(bench: Bench) -> None:
    """Refused for some seconds with 31 and then not: it is read again without being reopened."""
    read_on(bench, 3)
    bench.fault("refuse", 0x31)
    bench.until(lambda run: "code 31" in run.texts, LONGEST_S)
    seen = len(bench.run.readings)
    bench.until(lambda run: len(run.readings) >= seen + 12, LONGEST_S)
    bench.fault("none")
    read_on(bench, 3)


def test_the_default_session_is_asked_for_again(bench: Bench) -> None:
    """7F twice in one run: 10 01 is sent each time, and the fluid comes at once."""
    read_on(bench, 3)
    for _ in range(2):
        after = len(bench.run.readings) - 1
        bench.fault("once", 0x7F)
        run = read_on(bench, 12)
        assert longest_gap_s(run, after) < 4.0


def test_a_unit_deaf_to_groups_does_not_slow_the_fluid(bench: Bench) -> None:
    """The engine is silent to several PIDs at once: the fluid's own unit is asked as before."""
    read_on(bench, 3)
    after = len(bench.run.readings) - 1
    bench.fault("group")
    run = read_on(bench, 12)
    assert longest_gap_s(run, after) < 3.0  # it was blind for 10 s


@pytest.mark.parametrize("late_s", [pytest.param(0.5, marks=pytest.mark.slow), 1.0])
def test_a_late_unit_is_waited_for_and_told_as_late(bench: Bench, late_s: float) -> None:
    """Later than the usual wait from the beginning: learned, told once or twice, and then read.

    (A second of the longest wait is left for a machine that does other work, too.)
    """
    assert bench.adapter is not None
    bench.fault("late", late_s)
    run = read_on(bench, 3)
    assert "7E9 answers late" in run.texts
    assert "answer= sets the wait" in run.texts
    assert 1 <= run.texts.count("answers late") <= 3
    assert "Nothing answers" not in run.texts


def test_a_unit_that_becomes_late_is_waited_for(bench: Bench) -> None:
    """Late in the middle of a watch: the same."""
    read_on(bench, 3)
    bench.fault("late", 0.9)
    assert "7E9 answers late" in read_on(bench, 4).texts


def test_a_unit_that_asks_for_time_gets_it(bench: Bench) -> None:
    """78 and then the answer, through an adapter that does not wait by itself as well."""
    bench.fault("pending")
    run = read_on(bench, 3)
    assert "Nothing answers" not in run.texts


@pytest.mark.parametrize("transport", ["frames", "text"])
def test_a_local_identifier_is_read(transport: str, tmp_path: Path) -> None:
    """Service 21 (ISO 14230-3) in a signal file: one byte of identifier, answer 61."""
    text = FLUID_FILE.replace("0x22", "0x21").replace("0x1234", "0x05")
    with opened(transport, signal_file(tmp_path, text, target="0x7E1")) as bench:
        run = read_on(bench, 2)
    assert run.readings[0].raw == "7E9 61050355"


SESSION = FLUID_FILE.replace("0x1234", "0x2345")


def asked(log: Path) -> list[str]:
    """Return what the gearbox unit was asked, in order; each line says of whom: all or one."""
    return log.read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("transport", ["frames", "text"])
def test_the_extended_session_is_entered_kept_and_left(transport: str, tmp_path: Path) -> None:
    """Agreed to, the fluid comes by 10 03; 3E 00 keeps it; 10 01 ends it with the link."""
    log = tmp_path / "asked.txt"
    file = signal_file(tmp_path, SESSION, target="0x7E1", session='"extended"')
    with opened(transport, file, "--log", str(log), more="&extended=yes") as bench:
        read_on(bench, 2)
        bench.until(lambda run: "one 3e00" in asked(log), LONGEST_S)
        bench.link.close()
        until_s = time.monotonic() + LONGEST_S
        while asked(log)[-1] != "one 1001" and time.monotonic() < until_s:
            time.sleep(0.05)
    lines = asked(log)
    assert lines.index("one 1003") < lines.index("one 222345")
    assert lines[-1] == "one 1001"
    assert "all 1003" not in lines


@pytest.mark.parametrize("transport", ["frames", "text"])
def test_a_moving_vehicle_ends_the_extended_session(transport: str, tmp_path: Path) -> None:
    """Road speed above 0: back to the default session with a word, and nothing is asked there."""
    log = tmp_path / "asked.txt"
    file = signal_file(tmp_path, SESSION, target="0x7E1", session='"extended"')
    with opened(transport, file, "--log", str(log), more="&extended=yes") as bench:
        read_on(bench, 2)
        bench.fault("drive", 30)
        bench.until(lambda run: "The vehicle moves" in run.texts, LONGEST_S)
        count, seen = asked(log).count("one 222345"), len(bench.run.readings)
        bench.until(lambda run: len(run.readings) >= seen + 6, LONGEST_S)
        assert asked(log).count("one 222345") == count
        assert asked(log).count("one 1003") == 1
        bench.fault("none")
        read_on(bench, 2)  # it stands again


@pytest.mark.parametrize("transport", ["frames", "text"])
def test_without_agreement_no_session_is_asked_for(transport: str, tmp_path: Path) -> None:
    """The signal file alone is not enough: told with what to do, and 10 03 is never sent."""
    log = tmp_path / "asked.txt"
    file = signal_file(tmp_path, SESSION, target="0x7E1", session='"extended"')
    with opened(transport, file, "--log", str(log)) as bench:
        bench.until(lambda run: len(run.readings) > 4, LONGEST_S)
    assert "add extended=yes to the address" in bench.run.texts
    assert not [line for line in asked(log) if " 10" in line or "2345" in line]
