"""`doip:` against a vehicle on loopback whose messages another library makes."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.links.can_runs import FLUID_FILE, Run, follow, watch
from tests.peers.process import peer
from warmwatch.errors import LinkLost, UsageError
from warmwatch.links.address import parse_address
from warmwatch.links.base import open_link
from warmwatch.links.doip.entity import Entity, identify
from warmwatch.links.trying.trial import try_link
from warmwatch.signals.readonly import NotReading

pytestmark = pytest.mark.slow  # a process that imports scapy for each


@contextmanager
def vehicle(mode: str, tmp_path: Path) -> Iterator[str]:
    """Run the peer and give a `doip:` address with a signal file."""
    signals = tmp_path / "my.toml"
    signals.write_text(FLUID_FILE, encoding="utf-8")
    with peer("ethernet", mode) as file:
        port = Path(file).read_text(encoding="ascii")
        yield f"doip:127.0.0.1?port={port}&signals={signals}&poll=0.1"


def test_announcement_activation_and_reading(tmp_path: Path) -> None:
    """Who it is comes from its own answer; 22 1234 and what F400 offers are read."""
    with vehicle("good", tmp_path) as address:
        run = watch(address, lambda run: len(run.fluid) > 5 and "coolant_c" in run.latest())
    assert run.fluid == sorted(run.fluid)
    assert run.fluid[0] == pytest.approx(85.0, abs=0.5)
    latest = run.latest()
    assert (latest["coolant_c"], latest["engine_rpm"], latest["speed_kmh"]) == (90.0, 780.0, 0.0)
    assert run.readings[0].raw.startswith("1010 621234")
    assert "Units that answer: 1010." in run.texts


def test_link_shows_the_steps(tmp_path: Path) -> None:
    """`warmwatch link doip:`: reached, routing, units, values."""
    with vehicle("good", tmp_path) as address:
        steps = {step.name: step for step in try_link(parse_address(address))}
    assert steps["vehicle on the network"].seen == "127.0.0.1"
    assert steps["routing activated"].seen == "unit 1010 is asked"
    assert steps["units that answer"].seen == "1010"
    assert steps["fluid temperature now"].state == "ok"


def test_the_vehicle_leaves_and_comes_back(tmp_path: Path) -> None:
    """The connection breaks: told as lost, opened anew, and values come again by themselves."""
    with vehicle("leaves", tmp_path) as address:
        link = open_link(parse_address(address))
        try:
            run = follow(link, lambda run: any(n.lost for n in run.notices))
            assert "closed by the vehicle" in run.texts
            before = len(run.fluid)
            follow(link, lambda run: len(run.fluid) > before + 2, 15.0, run)
        finally:
            link.close()


def test_messages_may_come_in_pieces(tmp_path: Path) -> None:
    """Byte by byte, with alive checks in between that must be answered: the same values."""
    with vehicle("pieces", tmp_path) as address:
        run = watch(address, lambda run: len(run.fluid) > 3)
    assert run.fluid == sorted(run.fluid)


@pytest.mark.parametrize(
    ("mode", "words"),
    [
        ("denied", "all its connections are taken"),
        ("hidden", "unit="),
        ("noway", "no unit at 1010"),
        ("foreign", "ISO 13400"),
    ],
)
def test_what_goes_wrong_is_said(tmp_path: Path, mode: str, words: str) -> None:
    """Each in words, with what to do; the watch goes on trying."""

    def lost(run: Run) -> bool:
        return any(notice.lost for notice in run.notices)

    with vehicle(mode, tmp_path) as address:
        run = watch(address, lost, 15.0)
    assert words in run.texts
    assert run.fluid == []


def test_a_unit_may_be_named(tmp_path: Path) -> None:
    """unit=1010: asked although the vehicle does not say who it is."""
    with vehicle("hidden", tmp_path) as address:
        run = watch(f"{address}&unit=1010", lambda run: run.fluid)
    assert run.fluid


def test_only_what_reads_is_sent(tmp_path: Path) -> None:
    """A request that does more is refused before it reaches the network."""
    with vehicle("good", tmp_path) as address:
        port = int(parse_address(address).options["port"])
        assert identify("127.0.0.1", port, 2.0) == ("127.0.0.1", 0x1010)
        entity = Entity("127.0.0.1", port)
        try:
            with pytest.raises(NotReading):
                entity.send(0x1010, b"\x2e\x12\x34\x00")
        finally:
            entity.close()


def test_nobody_there_is_told() -> None:
    """A port that nobody listens at: a sentence, no traceback."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    with pytest.raises(LinkLost, match="cannot be reached"):
        Entity("127.0.0.1", port)


@pytest.mark.parametrize(
    ("more", "words"),
    [("?unit=gearbox", "hex digits"), ("?port=0", "port's number"), ("?bitrate=1", "no option")],
)
def test_a_wrong_option_is_refused(more: str, words: str) -> None:
    """Said before anything is opened."""
    with pytest.raises(UsageError, match=words):
        open_link(parse_address(f"doip:127.0.0.1{more}"))
