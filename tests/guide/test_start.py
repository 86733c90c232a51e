"""`warmwatch` without arguments: from an empty home folder to a running watch, by answers alone."""

import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.guide.typing_at import ROOT, Terminal, answer_all
from tests.standins.process import StandIn
from warmwatch.commands.signals import EXAMPLE

pytestmark = pytest.mark.slow

VIN = "1J9RP1A36A1644345"
RUNNING = r"Last reading 0|31\.|/open/"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Path]:
    """A folder of ports, an empty home and a text adapter with an invented vehicle behind it."""
    for name in ("ports", "home", "work"):
        (tmp_path / name).mkdir()
    (tmp_path / "work" / "van.toml").write_text(EXAMPLE, encoding="utf-8")
    port = tmp_path / "ports" / "port@A1B2"
    with StandIn("text_adapter.py", "--pty", "--pace", "60", "--vin", VIN, "--link", str(port)):
        yield tmp_path


def terminal(shop: Path, *arguments: str) -> Terminal:
    env = {"WARMWATCH_HOME": str(shop / "home")}
    return Terminal("tests.guide.shop", str(shop / "ports"), *arguments, cwd=shop / "work", env=env)


@pytest.mark.timeout(300)
def test_from_an_empty_home_to_a_running_watch_and_again(shop: Path) -> None:
    """At most ten answers for a new vehicle and adapter, two for known ones."""
    with terminal(shop) as first:
        answer_all(
            first,
            [
                ("Which of these is the adapter?", ""),
                ("What do you call this vehicle?", "white van"),
                ("identification number, …4345", ""),
                ("No standard request gives", ""),
                ("At which fluid temperature", "185:203"),
                ("Where did you find it?", ""),
                ("draining warm", ""),
                ("on a phone", ""),
                ("Begin the watch now?", ""),
            ],
        )
        assert len(first.answers) <= 10
        first.until(r"http://[0-9.:]+/open/")
        first.until("Last reading")
        first.press("q")
        assert first.ended() == 0
        assert 'warmwatch watch "white van"' in first.text
    book = tomllib.loads((shop / "home" / "book.toml").read_text(encoding="utf-8"))
    van = book["vehicles"]["white van"]
    assert (van["band"], van["unit"], van["vin"]) == ("185F:203F", "F", VIN)
    assert book["adapters"]["adapter 1"]["usb"] == "A1B2"
    with terminal(shop, "start") as second:
        assert "The vehicle says that it is white van (…4345)" in second.question()
        answer_all(second, [("Which vehicle?", ""), ("Is that what the service", "")])
        assert len(second.answers) <= 2
        second.until(r"http://[0-9.:]+/open/")
        second.until("Last reading")
        second.press("q")
        assert second.ended() == 0
    assert len(list((shop / "work" / "warmwatch-recordings").glob("*white-van.csv"))) == 2


@pytest.mark.timeout(300)
def test_a_can_adapter_is_recognised_and_its_bitrate_found(tmp_path: Path) -> None:
    """Frames as text (slcan) in another process: the answers are the same, the address differs."""
    for name in ("ports", "home", "work"):
        (tmp_path / name).mkdir()
    (tmp_path / "work" / "van.toml").write_text(EXAMPLE, encoding="utf-8")
    port = tmp_path / "ports" / "port"
    far_end = subprocess.Popen(
        [sys.executable, "-m", "tests.vehicle.far_end", str(port), "400"],
        stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, cwd=ROOT,
    )  # fmt: skip
    try:
        while not port.exists():
            time.sleep(0.05)
        with terminal(tmp_path) as typed:
            answer_all(typed, [("Which of these is the adapter?", ""), ("this vehicle?", "Ж 7")])
            answer_all(typed, [("No standard request", ""), ("At which", "80:90"), ("Where", "")])
            answer_all(typed, [("draining", "40:60"), ("on a phone", "no"), ("Begin", "")])
            typed.until("Last reading")
            typed.press("q")
            assert typed.ended() == 0
    finally:
        far_end.kill()
        far_end.communicate()
    book = tomllib.loads((tmp_path / "home" / "book.toml").read_text(encoding="utf-8"))
    assert "interface=slcan" in book["adapters"]["adapter 1"]["address"]
    van = book["vehicles"]["Ж 7"]
    assert (van["band"], van["drain_band"], van["unit"]) == ("80C:90C", "40C:60C", "C")
    assert book["shop"] == {"page": False}


@pytest.mark.timeout(300)
def test_ctrl_c_leaves_the_book_as_it_was(shop: Path) -> None:
    """Ctrl-C in the middle says so, ends with 130, and writes nothing."""
    with terminal(shop) as typed:
        answer_all(
            typed, [("Which of these is the adapter?", ""), ("call this vehicle?", "Größe 🚐")]
        )
        typed.question()
        typed.interrupt()
        assert typed.ended() == 130
        assert "the book is as it was" in " ".join(typed.text.split())
    assert list((shop / "home").iterdir()) == []
