"""`demo:` end to end: the invented vehicle through the real request code and a virtual bus."""

import math
import threading
import time
from collections.abc import Iterator

import pytest

from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.demo.car import Gate, invented_signals
from warmwatch.demo.link import DEFAULT_PACE, DemoLink, settings_of
from warmwatch.demo.simulation import Vehicle
from warmwatch.errors import UsageError
from warmwatch.links import open_link, parse_address

FAST = 1e6


@pytest.fixture(autouse=True)
def every_thread_ended() -> Iterator[None]:
    """Each test must end with the threads it began with."""
    before = set(threading.enumerate())
    yield
    assert set(threading.enumerate()) <= before


def opened(text: str, pace: float | None = FAST) -> DemoLink:
    link = open_link(parse_address(text), pace=pace)
    assert isinstance(link, DemoLink)
    return link


def read(link: DemoLink, longest_s: float = math.inf) -> list[object]:
    """Return the items until the link ends or the vehicle's clock passes `longest_s`."""
    found: list[object] = []
    for item in link.items():
        found.append(item)
        if isinstance(item, Reading) and item.elapsed_s >= longest_s:
            break
    link.close()
    return found


def readings(items: list[object]) -> list[Reading]:
    return [item for item in items if isinstance(item, Reading)]


def test_readings_are_the_vehicle_quantised() -> None:
    """Each reading is what the model says at that moment, in whole degrees rounded down."""
    link = opened("demo:?method=idle&minutes=3&seed=7")
    found = readings(read(link))
    assert len(found) == 181
    twin = Vehicle(settings_of(parse_address("demo:?method=idle&minutes=3&seed=7")).scenario)
    for reading in found:
        twin.advance_to(reading.elapsed_s)
        assert reading.values["fluid_c"] == math.floor(twin.state.fluid_c)
        assert reading.values["engine_rpm"] == pytest.approx(twin.state.engine_rpm, abs=0.13)
        assert reading.values["speed_kmh"] == 0.0
        assert reading.values["in_park"] == 1.0
        if "coolant_c" in reading.values:
            assert reading.values["coolant_c"] == math.floor(twin.state.temps.coolant_c)


def test_polls_are_a_second_apart_with_nothing_lost() -> None:
    """At any pace there is a reading for each second of the vehicle's time, and none is blind."""
    found = readings(read(opened("demo:?minutes=4"), 200.0))
    assert [round(reading.elapsed_s, 6) for reading in found] == list(range(201))
    assert all("fluid_c" in reading.values for reading in found)
    assert all(reading.raw.startswith("7E9 622A17") for reading in found)


def test_everything_asked_for_is_there() -> None:
    """Engine speed, speed, coolant, load, ambient and voltage come beside the fluid."""
    first = readings(read(opened("demo:?minutes=1"), 1.0))[0]
    wanted = {"fluid_c", "coolant_c", "ambient_c", "engine_rpm", "speed_kmh", "load_pct"}
    assert wanted | {"voltage_v", "in_park"} <= set(first.values)


@pytest.mark.slow
def test_same_seed_same_readings() -> None:
    """The values of a run depend on its seed alone."""
    one, two = (
        [(r.elapsed_s, dict(r.values)) for r in readings(read(opened("demo:?minutes=2&seed=4")))]
        for _ in range(2)
    )
    assert one == two


@pytest.mark.slow
def test_marks_come_in_order() -> None:
    """The invented mechanic's marks stand among the readings where they belong."""
    items = read(opened("demo:?poll=5&band=40:50"))
    times = [item.elapsed_s for item in items if isinstance(item, Reading | Mark)]
    assert times == sorted(times)
    marks = [item.name for item in items if isinstance(item, Mark)]
    assert marks == [MarkName.PLUG_OUT, MarkName.DRIP, MarkName.PLUG_IN]
    without = read(opened("demo:?poll=5&band=40:50&marks=no"))
    assert not [item for item in without if isinstance(item, Mark)]


def test_progress_runs_from_nothing_to_all() -> None:
    """`progress` grows from 0 to 1 over the scenario."""
    link = opened("demo:?method=idle&minutes=2&poll=5")
    seen = [link.progress]
    for _ in link.items():
        seen.append(link.progress)
    link.close()
    assert seen[0] == 0.0
    assert seen == sorted(seen)
    assert seen[-1] == pytest.approx(1.0)


@pytest.mark.slow
def test_silence_is_silence() -> None:
    """While the transmission unit is silent nothing is said of the fluid; the engine goes on."""
    items = read(opened("demo:?method=idle&minutes=1&silence=30:3"))
    dark = [r for r in readings(items) if 30.0 <= r.elapsed_s < 33.0]
    assert len(dark) == 3
    assert not any("fluid_c" in reading.values for reading in dark)
    assert all("engine_rpm" in reading.values for reading in dark)
    after = [r for r in readings(items) if r.elapsed_s > 39.0]
    assert after
    assert all("fluid_c" in reading.values for reading in after)


def test_misreading_is_doubted() -> None:
    """A failed sensor's code is handed on with a reason to doubt it."""
    items = read(opened("demo:?method=idle&minutes=1&misread=20:5"))
    wrong = [r for r in readings(items) if 20.0 <= r.elapsed_s < 25.0]
    assert len(wrong) == 5
    assert all("fluid_c" in reading.doubts for reading in wrong)
    assert not any(r.doubts for r in readings(items) if not 20.0 <= r.elapsed_s < 25.0)


def test_slow_reader_never_finds_the_vehicle_far_ahead() -> None:
    """A reader that dawdles sees the clock at most two polls past the reading in its hand."""
    link = opened("demo:?minutes=5")
    ahead = []
    for item in link.items():
        if isinstance(item, Reading):
            time.sleep(0.03)
            ahead.append(link.elapsed_s() - item.elapsed_s)
            if len(ahead) == 20:
                break
    link.close()
    assert max(ahead) <= 2.0


def test_gate_holds_back_and_lets_go() -> None:
    """The gate stops a vehicle that is a poll ahead until its reading is taken, or for good."""
    gate = Gate(1.0)
    gate.wait(0.5)
    passed = threading.Event()

    def go() -> None:
        gate.wait(3.0)
        passed.set()

    waiting = threading.Thread(target=go)
    waiting.start()
    assert not passed.wait(0.05)
    gate.taken(2.5)
    assert passed.wait(2.0)
    waiting.join()
    gate.open()
    gate.wait(1e9)


def test_pace() -> None:
    """The pace is the address's, else the caller's, else the demo's own."""
    assert settings_of(parse_address("demo:?pace=3"), 20.0).pace == 3.0
    assert settings_of(parse_address("demo:"), 20.0).pace == 20.0
    assert settings_of(parse_address("demo:")).pace == DEFAULT_PACE


def test_description_says_that_it_is_invented() -> None:
    """What the sidecar keeps says so in words, and names the seed and the signals."""
    about = opened("demo:?seed=9").describe()
    assert "invented vehicle" in str(about["invented"])
    assert about["seed"] == 9
    assert about["signals"]
    assert all(signal.source == "invented for the demo" for signal in invented_signals())


@pytest.mark.parametrize(
    "text",
    [
        "demo:vehicle",
        "demo:?method=boil",
        "demo:?sed=1",
        "demo:?seed=x",
        "demo:?minutes=-1",
        "demo:?minutes=nan",
        "demo:?band=90:80",
        "demo:?band=80",
        "demo:?pace=0",
        "demo:?poll=fast",
        "demo:?silence=10",
        "demo:?misread=10:0",
        "demo:?start=900",
    ],
)
def test_wrong_addresses(text: str) -> None:
    """A wrong option is a usage error in one sentence that names the demo."""
    with pytest.raises(UsageError, match="demo"):
        opened(text)


def test_close_while_nobody_reads() -> None:
    """Closing works before, without and after reading, and twice."""
    link = opened("demo:")
    link.close()
    link.close()
    other = opened("demo:", pace=1.0)
    for item in other.items():
        if not isinstance(item, Notice):
            break
    other.close()
    other.close()
