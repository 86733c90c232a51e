"""`--keep-bus`: what went over the wire is kept, and replays to the events of the live watch."""

import hashlib
import json
import re
import signal
import subprocess
import sys
import time
from itertools import dropwhile
from pathlib import Path

import pytest

from tests.benchmarks.links import far_end
from tests.links.can_runs import Run, follow
from tests.soak.rigs import SIGNAL
from tests.standins.process import StandIn
from warmwatch.errors import UsageError
from warmwatch.links.address import parse_address
from warmwatch.links.base import open_link
from warmwatch.links.keeping import MOST_WAITING, Keeper, keep_bus, kept_by
from warmwatch.links.python_can import can

Events = list[tuple[str, float, float]]
WARM = """
[[signal]]
name = "fluid_c"
service = 0x22
identifier = 0x1107
first_byte = 2
length = 2
scale = 0.0625
offset = -40
unit = "C"
target = 0x7E1
source = "invented for the tests"
"""


def events(*arguments: str, after: str = "") -> Events:
    """Run `warmwatch watch ... --json`; return kind, seconds and fluid of each event.

    With `after`, it is ended by an interrupt two seconds after an event of that kind.
    """
    command = [sys.executable, "-m", "warmwatch", "watch", *arguments, "--json", "--quiet"]
    found: Events = []
    # 0.8 K/s is a hundred times what a fluid does: whether the top is announced one poll before it
    # is passed hangs on milliseconds.
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        for line in map(json.loads, process.stdout):
            if line["kind"] == "event" and line["event"] != "top-nearing":
                found.append((line["event"], line["elapsed_s"], line["fluid_c"]))
                if line["event"] == after:
                    time.sleep(2.0)
                    process.send_signal(signal.SIGINT)
    assert process.returncode == (130 if after else 0)
    # A log begins with the first frame: how long the port took to open is not in it.
    return list(dropwhile(lambda event: event[0] in ("blind", "seeing"), found))


def replayed_alike(folder: Path, address: str, band: str) -> Path:
    """Watch live with --keep-bus, replay the log, hold the events against each other."""
    record = folder / "rec"
    options = ["--keep-bus", "--record", str(record), "--band", band]
    live = events(address, *options, after="left-high")
    assert {"entered", "left-high"} <= {kind for kind, _, _ in live}
    (log,) = record.glob("*.bus.*")
    again = events(f"log:{log}", "--band", band, "--no-record")
    assert [kind for kind, _, _ in again] == [kind for kind, _, _ in live]
    shift_s = live[0][1] - again[0][1]
    for (_, live_s, live_c), (_, again_s, again_c) in zip(live, again, strict=True):
        assert again_c == pytest.approx(live_c, abs=1.0)  # a poll earlier or later
        assert again_s + shift_s == pytest.approx(live_s, abs=1.2)
    return log


@pytest.mark.slow
def test_a_can_watch_replays_to_the_same_events(tmp_path: Path) -> None:
    """Asked and answered on a bus; the log alone is enough, its signals lie beside it."""
    signals = tmp_path / "warm.toml"
    signals.write_text(WARM, encoding="utf-8")
    with far_end("warm@6@-1.5", 0.0) as (port, _):
        address = f"can:{port}?interface=slcan&signals={signals}&poll=0.5"
        log = replayed_alike(tmp_path, address, "19.5:23")
    recording = next(log.parent.glob("*.csv")).read_text(encoding="utf-8")
    (digest,) = re.findall(rf"bus kept in {log.name}: \d+ pieces, sha256=([0-9a-f]+)", recording)
    assert digest == hashlib.sha256(log.read_bytes()).hexdigest()
    assert {frame.is_rx for frame in can.LogReader(log)} == {True, False}


@pytest.mark.slow
def test_a_broadcast_watch_replays_to_the_same_events(tmp_path: Path) -> None:
    """What a bus says by itself, kept while it was listened to, gives the same events again."""
    with far_end("talk", 0.2) as (port, _):
        address = f"broadcast:{port}?interface=slcan&bitrate=500000&poll=0.5"
        log = replayed_alike(tmp_path, address, "60.2:60.7")
    assert {frame.is_rx for frame in can.LogReader(log)} == {True}


@pytest.mark.slow
def test_a_text_adapters_watch_replays_to_the_same_events(tmp_path: Path) -> None:
    """The text of an adapter is read again as what was asked and answered."""
    signals = tmp_path / "serial.toml"
    signals.write_text(SIGNAL, encoding="utf-8")
    with StandIn("text_adapter.py", "--pty", "--pace", "8") as adapter:
        address = f"serial:{adapter.address}?signals={signals}&poll=0.5"
        replayed_alike(tmp_path, address, "36:42")


def test_nothing_is_waited_for(tmp_path: Path) -> None:
    """A disk that takes nothing: frames are dropped and told, and putting one takes no time."""
    keeper = Keeper()
    frame = can.Message(arbitration_id=0x123, data=[1])
    began_s = time.monotonic()
    for _ in range(MOST_WAITING + 1000):  # nothing is written before `begin`
        keeper.frame(frame)
    assert (time.monotonic() - began_s) / MOST_WAITING < 0.001
    (told,) = keeper.news()
    assert "too slow" in told
    assert list(keeper.news()) == []
    keeper.begin(tmp_path / "x.bus", time.time)
    kept = keeper.end()
    while kept is None:
        kept = keeper.end()
    assert (kept.pieces, kept.lost) == (MOST_WAITING, 1000)


def test_the_file_is_bounded(tmp_path: Path) -> None:
    """At its size it ends, whole to the last line, and that is told."""
    keeper = Keeper(most_bytes=1000)
    keeper.begin(tmp_path / "x.bus", time.time)
    for number in range(200):
        keeper.frame(can.Message(arbitration_id=number, data=[1], is_extended_id=False))
    kept = keeper.end()
    assert kept is not None
    assert kept.lost == 200 - kept.pieces > 0
    path = tmp_path / "x.bus.log"
    assert 1000 <= path.stat().st_size < 1100
    assert len(list(can.LogReader(path))) == kept.pieces
    assert kept.digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert any("has reached its" in text for text in keeper.news())


def test_a_folder_that_takes_no_file_is_told(tmp_path: Path) -> None:
    """The watch goes on; the reason is said once."""
    keeper = Keeper()
    keeper.begin(tmp_path / "absent" / "x.bus", time.time)
    keeper.frame(can.Message(arbitration_id=1))
    assert keeper.end() is None
    (told,) = keeper.news()
    assert "no longer kept" in told


def test_what_is_sent_and_what_comes_is_kept(tmp_path: Path) -> None:
    """A bus that is opened in the block of `kept_by` gives both ways to the keeper."""
    keeper = Keeper()
    near = can.Bus(interface="virtual", channel="kept")
    far = can.Bus(interface="virtual", channel="kept")
    try:
        bus = keep_bus(near, keeper)
        bus.send(can.Message(arbitration_id=0x7E0, data=[1, 2], is_extended_id=False))
        far.send(can.Message(arbitration_id=0x7E8, data=[3, 4], is_extended_id=False))
        assert bus.recv(1.0) is not None
        assert bus.recv(0.0) is None
    finally:
        near.shutdown()
        far.shutdown()
    keeper.begin(tmp_path / "x.bus", lambda: 1_700_000_000.5)
    assert keeper.end() is not None
    lines = (tmp_path / "x.bus.log").read_text(encoding="utf-8").splitlines()
    assert [line.split()[2:] for line in lines] == [["7E0#0102", "T"], ["7E8#0304", "R"]]


@pytest.mark.parametrize("asked", [True, False])
def test_a_link_keeps_only_when_asked(asked: bool) -> None:
    """A link made in the block of `kept_by` gives its frames; another one does not."""
    keeper = Keeper()
    with kept_by(keeper if asked else None):
        link = open_link(parse_address("broadcast:only?interface=virtual&poll=0.1"))
    frame = can.Message(arbitration_id=0x18FEF803, data=bytes.fromhex("FFFFFFFFA029FFFF"))
    with can.Bus(interface="virtual", channel="only") as far:

        def heard(run: Run) -> bool:
            far.send(frame)
            return len(run.readings) > 2

        try:
            follow(link, heard)
        finally:
            link.close()
    assert (keeper._queue.qsize() > 2) is asked


def test_links_without_a_bus_are_refused() -> None:
    """csv: has no bus: said before anything begins."""
    from warmwatch.app.keeping import KeptLink

    with pytest.raises(UsageError, match="no bus"):
        KeptLink(parse_address("lines:-"), None)
