"""Several senders of one parameter on a J1939 bus; the senders are a stack nobody here wrote."""

import json
from pathlib import Path

import pytest
from pretty_j1939 import describe

from tests.links.can_runs import watch
from tests.links.test_log import SIGNALS
from tests.peers.process import peer
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Tick
from warmwatch.errors import UsageError
from warmwatch.links.address import parse_address
from warmwatch.links.base import open_link
from warmwatch.links.broadcast.decoder import J1939Decoder
from warmwatch.links.broadcast.listening import Listened
from warmwatch.links.broadcast.senders import SETTLE_S, SILENT_S
from warmwatch.links.live import Gap, Values
from warmwatch.links.trying.trial import try_link
from warmwatch.signals.j1939 import SENDERS, TRANSMISSIONS

ENGINE, TRANSMISSION, OTHER, THIRD = 0x18FEF800, 0x18FEF803, 0x18FEF827, 0x18FEF82A


def frame(fluid_c: float) -> bytes:
    raw = round((fluid_c + 273.0) / 0.03125)
    return b"\xff" * 4 + raw.to_bytes(2, "little") + b"\xff" * 2


class Bus:
    """A second of frames at a time."""

    def __init__(self, only: int | None = None) -> None:
        self.listened = Listened(J1939Decoder(), 0.5, only)
        self.now_s = 0.0
        self.fluid: list[float] = []
        self.gaps: list[str] = []
        self.notices: list[Notice] = []

    def second(self, count: int = 1, **sent: float) -> None:
        ids = {"engine": ENGINE, "gearbox": TRANSMISSION, "other": OTHER, "third": THIRD}
        for _ in range(count):
            for name, fluid_c in sent.items():
                self.listened.hear(ids[name], True, frame(fluid_c), self.now_s)
                for item in self.listened.due(self.now_s):
                    self._took(item)
            self.now_s += 1.0

    def _took(self, item: object) -> None:
        if isinstance(item, Values) and "fluid_c" in item.values:
            self.fluid.append(item.values["fluid_c"])
        elif isinstance(item, Gap):
            self.gaps.append(item.text)
        elif isinstance(item, Notice):
            self.notices.append(item)

    @property
    def texts(self) -> str:
        return "\n".join(notice.text for notice in self.notices)


def test_the_addresses_are_the_standards() -> None:
    """Names and numbers of senders agree with an independent table of SAE J1939 addresses."""
    table = Path(describe.__file__).with_name("J1939db.json")
    names = json.loads(table.read_text(encoding="utf-8"))
    published = names["J1939SATabledb"]
    assert [published[str(number)] for number in TRANSMISSIONS] == [
        "Transmission #1",
        "Transmission #2",
    ]
    for number, name in SENDERS.items():
        assert name.split()[0][:5] in published[str(number)].lower()


def test_the_standards_address_is_preferred_to_whoever_spoke_first() -> None:
    """An engine's address says 70 degC and is first: not one of its values is used."""
    bus = Bus()
    bus.second(5, engine=70.0, gearbox=40.0)
    assert set(bus.fluid) == {40.0}
    assert "comes from 03 (transmission 1)" in bus.texts
    assert "00 (engine 1) is not (70.0 °C)" in bus.texts
    assert bus.gaps == []


def test_another_sender_is_used_where_it_is_the_only_one_and_that_is_said() -> None:
    """No better one within SETTLE_S: it is used, with its name and a warning."""
    bus = Bus()
    bus.second(5, engine=70.0)
    assert set(bus.fluid) == {70.0}
    assert len(bus.fluid) == 5 - SETTLE_S // 1 - 1
    assert "00 (engine 1)" in bus.texts
    assert "source=" in bus.texts


def test_a_better_sender_that_comes_later_is_taken_behind_a_gap() -> None:
    """The transmission wakes late: its values are used, continuity ends, and it is told aloud."""
    bus = Bus()
    bus.second(5, engine=70.0)
    bus.second(2, engine=70.0, gearbox=40.0)
    assert bus.fluid[-1] == 40.0
    assert len(bus.gaps) == 1
    assert any(notice.alarm and "40" not in bus.gaps[0] for notice in bus.notices)


def test_the_transmission_is_never_exchanged_for_the_engine() -> None:
    """The transmission falls silent: the engine's value is not taken, and the way out is named."""
    bus = Bus()
    bus.second(4, engine=70.0, gearbox=40.0)
    bus.second(20, engine=70.0)
    assert set(bus.fluid) == {40.0}
    (told,) = [notice for notice in bus.notices if notice.alarm]
    assert "03 (transmission 1) no longer sends" in told.text
    assert "source=00" in told.text
    bus.second(2, engine=70.0, gearbox=41.0)
    assert bus.fluid[-1] == 41.0


def test_of_two_strangers_the_first_is_held_until_it_is_silent() -> None:
    """Two addresses of no known meaning: held, then exchanged with a gap and a word."""
    bus = Bus()
    bus.second(6, other=50.0, third=60.0)
    assert set(bus.fluid) == {50.0}
    bus.second(int(SILENT_S) + 2, third=60.0)
    assert bus.fluid[-1] == 60.0
    assert bus.gaps == ["fluid_c comes from 2A now, no longer from 27"]


def test_a_chosen_source_is_the_only_one() -> None:
    """source=00: only that address is believed, from its first value on."""
    bus = Bus(only=0)
    bus.second(8, gearbox=40.0)
    assert bus.fluid == []
    assert "comes from 03 (transmission 1) only" in bus.listened.missing()
    bus.second(2, engine=70.0, gearbox=40.0)
    assert bus.fluid == [70.0, 70.0]


@pytest.mark.slow
def test_two_units_of_a_j1939_stack() -> None:
    """can-j1939's units at 00 and 03 claim addresses and send: 03 is used, and it is said."""
    with peer("truck", "0.1", "00=70", "03=40") as port:
        run = watch(f"broadcast:{port}?interface=slcan&poll=0.1", lambda run: len(run.fluid) > 20)
    assert set(run.fluid) == {40.0}
    assert "03 (transmission 1) is used" in run.texts


@pytest.mark.slow
def test_a_sender_that_goes_makes_the_watch_blind_before_another_speaks() -> None:
    """can-j1939's first unit stops: a tick with a gap comes before the other's first value."""
    with peer("truck", "0.1", "27=40@0-6", "2A=70") as port:
        link = open_link(parse_address(f"broadcast:{port}?interface=slcan&poll=0.1"))
        order: list[str] = []
        try:
            for item in link.items():
                if isinstance(item, Tick):
                    order.append(item.gap)
                elif item is not None and not isinstance(item, Notice):
                    order += [f"{value:g}" for value in getattr(item, "values", {}).values()]
                if "70" in order:
                    break
        finally:
            link.close()
    assert order[0] == "40"
    assert order[-2] == "fluid_c comes from 2A now, no longer from 27"


@pytest.mark.slow
def test_link_lists_every_sender() -> None:
    """`warmwatch link`: all senders with their values, the one that is used, and how to choose."""
    with peer("truck", "0.2", "00=70", "03=40") as port:
        steps = {
            step.name: step for step in try_link(parse_address(f"broadcast:{port}?interface=slcan"))
        }
    assert steps["senders of the fluid"].seen == (
        "03 (transmission 1) 40.0 °C, used; 00 (engine 1) 70.0 °C"
    )
    assert steps["fluid temperature now"].seen == "40.0 °C"
    assert "frames a second" in steps["bus traffic"].seen


def test_a_source_that_is_no_number_is_refused() -> None:
    """source=gearbox: said with what to write."""
    with pytest.raises(UsageError, match="hex digits"):
        open_link(parse_address("broadcast:x?interface=virtual&source=gearbox"))


@pytest.mark.slow
def test_another_testers_questions_are_listened_to_live(tmp_path: Path) -> None:
    """A tester asks by libraries, on the bus: the fluid is read, and nothing of ours is sent."""
    signals = tmp_path / "my.toml"
    signals.write_text(SIGNALS, encoding="utf-8")
    with peer("tester", "200") as port:
        run = watch(
            f"broadcast:{port}?interface=slcan&poll=0.1&signals={signals}",
            lambda run: len(run.fluid) > 5,
        )
    assert run.fluid == sorted(run.fluid)
    assert 50.0 <= run.fluid[0] < run.fluid[-1] <= 90.0
    assert run.latest()["engine_rpm"] == 780.0
    assert "fluid_c comes from 7E9" in run.texts
