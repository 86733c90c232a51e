"""The search that only listens: in a log, and live."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.peers.process import peer
from warmwatch.commands.link import command
from warmwatch.links import open_link, parse_address

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def warm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A tester watched a vehicle warm up from cold for 12 minutes, by libraries."""
    path = tmp_path_factory.mktemp("warm") / "warm.log"
    call = [sys.executable, "-m", "tests.peers.tester", str(path), "144", "warm"]
    subprocess.run(call, check=True, stderr=subprocess.DEVNULL)
    return path


def test_the_identifier_is_found_in_a_log(warm: Path, tmp_path: Path) -> None:
    """The fluid's byte and scale come first; the signal file written reads the same log."""
    out = tmp_path / "found.toml"
    arguments = [f"log:{warm}", "--find-temperature", "--out", str(out), "--json"]
    done = CliRunner().invoke(command, arguments, standalone_mode=False)
    content = json.loads(done.stdout)
    best = content["candidates"][0]
    assert (content["unit"], best["identifier"], best["first_byte"]) == ("7E9", 0x1234, 10)
    assert (best["scale"]["factor"], best["scale"]["offset"]) == (1.0, -40.0)
    assert "target = 0x7E1" in content["signal_file"]
    assert done.return_value == 0
    link = open_link(parse_address(f"log:{warm}?signals={out}"))
    fluid = [v for item in link.items() if (v := getattr(item, "values", {}).get("fluid_c"))]
    assert fluid[0] == 18.0
    assert fluid == sorted(fluid)


def test_a_range_and_a_unit_may_be_given(warm: Path) -> None:
    """What is outside is not looked at, and where nothing is left that is said."""
    for more in (
        ["--find-temperature", "2000:2FFF"],
        ["--find-temperature", "--unit-address", "7E5"],
    ):
        done = CliRunner().invoke(command, [f"log:{warm}", *more], standalone_mode=False)
        assert "nobody asked" in str(done.exception)


def test_the_same_live(tmp_path: Path) -> None:
    """On a bus, for a while: what the other tester asks for is gathered."""
    with peer("tester", "400", "warm") as port:
        address = f"broadcast:{port}?interface=slcan"
        arguments = [address, "--find-temperature", "--minutes", "0.2", "--json"]
        done = CliRunner().invoke(command, arguments, standalone_mode=False)
    content = json.loads(done.stdout)
    assert content["answered"] == ["1234"]
    assert content["stopped"] is None
