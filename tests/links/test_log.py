"""`log:` on logs that peers made, in every format, whole and damaged."""

import contextlib
import gzip
import os
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from itertools import pairwise
from pathlib import Path

import pytest

from tests.links.can_runs import Run
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Reading, Tick
from warmwatch.errors import InputError, UsageError
from warmwatch.links.address import parse_address
from warmwatch.links.base import open_link
from warmwatch.links.python_can import can, load_mf4
from warmwatch.links.trying.trial import try_link

POLLS = 60
SIGNALS = """
[[signal]]
name = "fluid_c"
service = 0x22
identifier = 0x1234
first_byte = 10
scale = 1
offset = -40
unit = "C"
source = "invented for the tests"
"""
FORMATS = ["log", "asc", "blf", "trc", "csv", "db", "dump", "log.gz", "asc.gz", "trc.gz", "dump.gz"]


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log of a tester and two units, made by libraries; 50 to 79.5 degC in 60 s."""
    folder = tmp_path_factory.mktemp("log")
    path = folder / "made.log"
    command = [sys.executable, "-m", "tests.peers.tester", str(path), str(POLLS)]
    subprocess.run(command, check=True, stderr=subprocess.DEVNULL)
    (folder / "my.toml").write_text(SIGNALS, encoding="utf-8")
    return path


def frames_of(path: Path) -> list[can.Message]:
    return list(can.LogReader(path))


def write(path: Path, frames: Iterable[can.Message]) -> Path:
    """Write frames as the ending of `path` says."""
    plain = path.with_suffix("") if path.suffix == ".gz" else path
    if plain.suffix == ".dump":
        plain.write_text("".join(map(dumped, frames)), encoding="ascii")
        final = plain.with_suffix(".log")
        plain.rename(final)
        plain = final
    else:
        with can.Logger(plain) as writer:
            for frame in frames:
                writer(frame)
            if plain.suffix == ".db":
                time.sleep(1.0)  # its own thread writes, and stops in the middle
    if path.suffix != ".gz":
        return plain
    zipped = plain.with_name(plain.name + ".gz")
    with plain.open("rb") as source, gzip.open(zipped, "wb") as target:
        shutil.copyfileobj(source, target)
    plain.unlink()
    return zipped


def dumped(frame: can.Message) -> str:
    """The line of a text dump with the length in brackets, as can-utils prints it with -t a."""
    digits = 8 if frame.is_extended_id else 3
    data = " ".join(f"{byte:02X}" for byte in frame.data)
    head = f" ({frame.timestamp:.6f})  {frame.channel}"
    return f"{head}  {frame.arbitration_id:0{digits}X}   [{frame.dlc}]  {data}\n"


def replayed(path: Path, more: str = "") -> Run:
    """Replay a log to its end."""
    run = Run()
    link = open_link(parse_address(f"log:{path}{more}"))
    for item in link.items():
        if isinstance(item, Reading):
            run.readings.append(item)
        elif isinstance(item, Notice):
            run.notices.append(item)
    return run


def with_signals(made: Path) -> str:
    return f"?signals={made.with_name('my.toml')}"


def curve(run: Run) -> list[tuple[float, float]]:
    return [
        (round(r.elapsed_s, 1), r.values["fluid_c"]) for r in run.readings if "fluid_c" in r.values
    ]


@pytest.mark.slow
def test_what_another_tester_asked_for_is_read(made: Path) -> None:
    """Each poll of the other tester gives its values, decoded by the signal file; nothing else."""
    run = replayed(made, with_signals(made))
    assert curve(run) == [(float(n), float(round(50 + n / 2))) for n in range(POLLS)]
    assert run.latest().keys() == {"fluid_c", "coolant_c", "engine_rpm"}
    assert (run.latest()["coolant_c"], run.latest()["engine_rpm"]) == (90.0, 780.0)
    assert run.readings[0].utc_s == 1_700_000_000.005  # the last frame of the first answer
    assert run.readings[0].raw.startswith("7E9 621234000102")


@pytest.mark.parametrize("ending", FORMATS)
def test_every_format_gives_the_same(made: Path, tmp_path: Path, ending: str) -> None:
    """The same frames written by python-can in each format give the same curve."""
    path = write(tmp_path / f"same.{ending}", frames_of(made))
    assert curve(replayed(path, with_signals(made))) == curve(replayed(made, with_signals(made)))


def test_the_mf4_format_gives_the_same(made: Path, tmp_path: Path) -> None:
    """Through asammdf, where it is installed."""
    pytest.importorskip("asammdf")
    load_mf4()  # for writing it
    path = write(tmp_path / "same.mf4", frames_of(made))
    assert curve(replayed(path, with_signals(made))) == curve(replayed(made, with_signals(made)))


@pytest.mark.parametrize("ending", sorted({*FORMATS} - {"db"}))
def test_a_log_cut_in_the_middle_gives_what_is_whole(
    made: Path, tmp_path: Path, ending: str
) -> None:
    """No crash and no wrong value: a part of the same curve, and a word that there was more."""
    path = write(tmp_path / f"cut.{ending}", frames_of(made))
    whole = curve(replayed(made, with_signals(made)))
    size = path.stat().st_size
    os.truncate(path, int(size * 0.6) + 7)
    run = replayed(path, with_signals(made))
    found = curve(run)
    assert found == whole[: len(found)]
    assert len(found) >= (0.3 * POLLS if ending not in ("blf",) else 0)
    assert "left out" in run.texts or "ends in the middle" in run.texts


def test_garbled_lines_cost_only_themselves(made: Path, tmp_path: Path) -> None:
    """Bytes that are no text and lines of something else in between are counted and left out."""
    lines = made.read_bytes().splitlines(keepends=True)
    lines[105:105] = [b"\xff\xfe\x00 garbage\n", b"(1.0) x\n", b"(a) b c#d\n", b"# comment\n"]
    path = tmp_path / "garbled.log"
    path.write_bytes(b"".join(lines))
    run = replayed(path, with_signals(made))
    assert len(curve(run)) == POLLS
    assert "4 lines were no whole frame" in run.texts


def test_frames_that_are_missing_give_no_wrong_value(made: Path, tmp_path: Path) -> None:
    """Each third frame lost: only whole answers are read, each with its own value."""
    frames = [frame for number, frame in enumerate(frames_of(made)) if number % 3 != 1]
    run = replayed(write(tmp_path / "lost.log", frames), with_signals(made))
    whole = dict(curve(replayed(made, with_signals(made))))
    assert all(whole[at_s] == fluid_c for at_s, fluid_c in curve(run))


def shifted(frames: list[can.Message], shift: Callable[[int, float], float]) -> list[can.Message]:
    for number, frame in enumerate(frames):
        frame.timestamp = shift(number, frame.timestamp)
    return frames


@pytest.mark.parametrize("leap_s", [-1e6, 1e8])
def test_times_that_leap_go_on_behind_a_gap(made: Path, tmp_path: Path, leap_s: float) -> None:
    """The clock was set under way: told, a gap of over a minute, and everything after is read."""
    frames = shifted(frames_of(made), lambda n, at_s: at_s + leap_s * (n >= 300))
    run = replayed(write(tmp_path / "leap.dump", frames), with_signals(made))
    times = [at_s for at_s, _ in curve(run)]
    assert len(times) >= POLLS - 2
    assert times == sorted(times)
    assert max(after - before for before, after in pairwise(times)) > 60
    assert "leap" in run.texts


def test_single_stray_times_are_left_out(made: Path, tmp_path: Path) -> None:
    """One frame dated a year ahead spoils its answer and nothing else."""
    frames = shifted(frames_of(made), lambda n, at_s: at_s + 3e7 * (n == 300))
    run = replayed(write(tmp_path / "stray.log", frames), with_signals(made))
    assert len(curve(run)) >= POLLS - 1
    assert "1 frame with a wrong time" in run.texts


def test_times_that_are_differences_are_refused(made: Path, tmp_path: Path) -> None:
    """A dump with the time since the frame before has no curve: said, instead of a wrong one."""
    frames = shifted(frames_of(made), lambda n, at_s: 0.003 * (n % 4))
    with pytest.raises(InputError, match="differences"):
        replayed(write(tmp_path / "delta.dump", frames), with_signals(made))


def two_buses(made: Path, tmp_path: Path) -> Path:
    """The bus with the fluid as `body`, and a busier one without it."""
    frames = []
    for frame in frames_of(made):
        frame.channel = "body"
        other = can.Message(
            timestamp=frame.timestamp, arbitration_id=0x123, channel="radio", data=[1], is_rx=True
        )
        frames += [frame, other, other]
    return write(tmp_path / "two.log", frames)


def test_of_two_buses_the_one_with_the_fluid_is_read(made: Path, tmp_path: Path) -> None:
    """The busier bus has no fluid: the other is chosen, and both are named."""
    run = replayed(two_buses(made, tmp_path), with_signals(made))
    assert len(curve(run)) == POLLS
    assert "body is read, not radio" in run.texts


def test_a_bus_may_be_chosen(made: Path, tmp_path: Path) -> None:
    """bus=radio reads that one; a name that is not there is refused with those that are."""
    path = two_buses(made, tmp_path)
    assert curve(replayed(path, f"{with_signals(made)}&bus=radio")) == []
    with pytest.raises(UsageError, match="body, radio"):
        replayed(path, "?bus=can7")


def test_a_bus_of_error_frames_is_said(tmp_path: Path) -> None:
    """100 % error frames: no reading, the likely reason, and nothing else is blamed."""
    frames = [can.Message(timestamp=n / 100, is_error_frame=True) for n in range(800)]
    run = replayed(write(tmp_path / "errors.asc", frames))
    assert run.readings == []
    assert "All 800 frames in errors.asc are error frames: the bitrate" in run.texts
    assert "holds traffic" not in run.texts


def test_traffic_without_the_fluid_ends_blind(made: Path) -> None:
    """No signal file: said with what is needed, and the end of the log is silence, not the band."""
    link = open_link(parse_address(f"log:{made}"))
    items = list(link.items())
    assert any(isinstance(item, Notice) and item.alarm for item in items)
    assert all("fluid_c" not in item.values for item in items if isinstance(item, Reading))


def test_silence_at_the_end_of_a_log_is_a_tick(made: Path, tmp_path: Path) -> None:
    """The fluid stops half way while other traffic goes on: the watch is told the last time."""
    frames = frames_of(made)
    kept = [f for n, f in enumerate(frames) if n < 300 or f.arbitration_id == 0x7DF]
    link = open_link(parse_address(f"log:{write(tmp_path / 'end.log', kept)}{with_signals(made)}"))
    last = [item for item in link.items() if not isinstance(item, Notice)][-1]
    assert isinstance(last, Tick)
    assert last.elapsed_s == pytest.approx(POLLS - 1, abs=0.1)


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("none.log", b"", "no text dump"),
        ("prose.log", b"Dear reader,\nnothing here.\n", "no text dump"),
        ("bytes.blf", b"no container at all", "cannot be read"),
        ("bytes.mf4", b"no measurement data", "cannot be read"),
        ("bytes.log.gz", b"no gzip", "cannot be read"),
        ("bytes.db", b"no database at all, but long enough to be looked at", "cannot be read"),
        ("timeless.log", b" can0  123   [2]  01 02\n" * 60, "no time"),
    ],
)
def test_what_is_no_log_is_said(tmp_path: Path, name: str, content: bytes, words: str) -> None:
    """Files of another kind: one sentence each, no traceback."""
    path = tmp_path / name
    path.write_bytes(content)
    try:
        said = replayed(path).texts
    except InputError as error:
        said = str(error)
    assert words in said


def test_a_missing_file_and_a_wrong_option_are_refused(made: Path) -> None:
    """Said before anything is read."""
    with pytest.raises(UsageError, match="no file"):
        replayed(made.with_name("absent.log"))
    with pytest.raises(UsageError, match="no option 'bitrate'"):
        replayed(made, "?bitrate=500000")


def test_link_shows_what_a_log_holds(made: Path) -> None:
    """`warmwatch link log:`: buses, the sender of the fluid, values and rate."""
    steps = {s.name: s for s in try_link(parse_address(f"log:{made}{with_signals(made)}"))}
    assert "bus tester: 600 frames" in steps["log opened"].seen
    assert steps["sender of the fluid"].seen == "7E9 80.0 °C, used"
    assert steps["readings a second"].seen == "1.0"


@pytest.mark.slow
@pytest.mark.parametrize("ending", ["log", "asc", "blf", "trc", "csv", "db", "dump", "log.gz"])
def test_spoilt_bytes_break_nothing(made: Path, tmp_path: Path, ending: str) -> None:
    """Bytes changed at random, the end cut off: a replay, or one sentence."""
    path = write(tmp_path / f"whole.{ending}", frames_of(made)[:150])
    data, chance = path.read_bytes(), random.Random(5)
    for number in range(25):
        spoilt = bytearray(data[: chance.randrange(len(data)) if number % 3 == 0 else None])
        for _ in range(chance.choice([1, 3, 30])):
            if spoilt:
                spoilt[chance.randrange(len(spoilt))] = chance.randrange(256)
        damaged = tmp_path / f"spoilt{number}_{path.name}"
        damaged.write_bytes(bytes(spoilt))
        with contextlib.suppress(InputError):
            replayed(damaged, with_signals(made))


GROW = """
import sys
from tests.links.test_log import replayed
from pathlib import Path
import resource
run = replayed(Path(sys.argv[1]), sys.argv[2])
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


@pytest.mark.slow
def test_memory_does_not_grow_with_the_log(made: Path, tmp_path: Path) -> None:
    """A log 8 times as long (125 000 frames of other traffic) takes no more memory (under 6 %)."""
    frames = frames_of(made)
    sizes = []
    for count in (1, 8):
        path = tmp_path / f"long{count}.log"
        with path.open("w", encoding="ascii") as file:
            for frame in frames:
                at_s = frame.timestamp
                for other in range(count * 25):
                    file.write(f"({at_s:.6f}) can0 {0x100 + other % 256:03X}#00112233 R\n")
                head = f"({at_s:.6f}) can0 {frame.arbitration_id:03X}"
                file.write(f"{head}#{bytes(frame.data).hex().upper()} R\n")
        command = [sys.executable, "-c", GROW, str(path), with_signals(made)]
        found = subprocess.run(command, capture_output=True, check=True, text=True)
        sizes.append(int(found.stdout))
        path.unlink()
    assert sizes[1] < 1.06 * sizes[0]
