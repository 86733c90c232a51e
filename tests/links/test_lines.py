"""`lines:`: one number a line or name=value pairs, from a pipe or a port."""

import io
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.links.can_runs import Run, watch
from tests.standins.process import StandIn
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName
from warmwatch.errors import UsageError
from warmwatch.links.address import parse_address
from warmwatch.links.base import open_link
from warmwatch.links.line_text import LineFormat, LineSplitter, UnreadableLine, read_line
from warmwatch.links.lines import DescriptorBytes, LinesPort, StreamBytes
from warmwatch.links.live import MarkLine, Polled, Values

CELSIUS = LineFormat()


def values(text: str, form: LineFormat = CELSIUS) -> dict[str, float]:
    read = read_line(text, form)
    assert isinstance(read, Values)
    assert read.raw == text
    return dict(read.values)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("41.5", {"fluid_c": 41.5}),
        ("+41", {"fluid_c": 41.0}),
        ("-7.25", {"fluid_c": -7.25}),
        (".5", {"fluid_c": 0.5}),
        ("4.15e1", {"fluid_c": 41.5}),
        ("41.5 C", {"fluid_c": 41.5}),
        ("41.5°C", {"fluid_c": 41.5}),
        ("185 F", {"fluid_c": 85.0}),
        ("212°f", {"fluid_c": 100.0}),
        ("fluid_c=41.5", {"fluid_c": 41.5}),
        ("fluid_f=185", {"fluid_c": 85.0}),
        ("fluid_c=41.5 engine_rpm=780", {"fluid_c": 41.5, "engine_rpm": 780.0}),
        ("fluid_c=41.5, coolant_f=194,", {"fluid_c": 41.5, "coolant_c": 90.0}),
        ("Fluid_C=41.5 sump=3", {"fluid_c": 41.5, "sump": 3.0}),
    ],
)
def test_what_a_line_says(text: str, expected: dict[str, float]) -> None:
    """Numbers and pairs; names ending in _f are degF (32 degF = 0 degC, 1 K = 1.8 degF)."""
    assert values(text) == expected


def test_the_unit_option_is_for_bare_numbers_only() -> None:
    """With ?unit=F a bare number is degF; a name that says degC stays degC."""
    fahrenheit = LineFormat("F")
    assert values("185", fahrenheit) == {"fluid_c": 85.0}
    assert values("85 C", fahrenheit) == {"fluid_c": 85.0}
    assert values("fluid_c=85", fahrenheit) == {"fluid_c": 85.0}


def test_a_decimal_comma_must_be_asked_for() -> None:
    """`41,5` may be two numbers, so that it is refused unless ?decimal=comma says what it is."""
    assert values("41,5", LineFormat(decimal_comma=True)) == {"fluid_c": 41.5}
    with pytest.raises(UnreadableLine, match=r"\?decimal=comma"):
        values("41,5")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("mark=plug-out", MarkLine(MarkName.PLUG_OUT)),
        ("mark=PLUG-IN", MarkLine(MarkName.PLUG_IN)),
        (
            'mark=note note="second pan, old bolts"',
            MarkLine(MarkName.NOTE, "second pan, old bolts"),
        ),
        ("mark=drip, note=slow", MarkLine(MarkName.DRIP, "slow")),
    ],
)
def test_marks(text: str, expected: MarkLine) -> None:
    """mark=NAME with or without a note."""
    assert read_line(text, CELSIUS) == expected


@pytest.mark.parametrize(
    "text",
    [
        "junk",
        "--",
        "OL",
        "nan",
        "inf",
        "1e999",
        "41.5 42.5",
        "0x29",
        "4_1",
        "41.5K",
        "fluid_c=",
        "fluid_c=OL",
        "fluid_c=41.5 fluid_c=42",
        "fluid_c=41.5 fluid_f=185",
        "fluid_c=41.5 junk",
        "=41",
        "mark=unheard-of",
        'mark=drip note="open',
        "４１",  # digits, but not the ones of ASCII: a port that prints them is broken
        "41.5\ufffd",
    ],
)
def test_a_line_in_doubt_is_refused(text: str) -> None:
    """What is not certainly a number, pairs or a mark is refused with a reason."""
    with pytest.raises(UnreadableLine):
        read_line(text, CELSIUS)


@given(st.floats(-300, 3000, allow_nan=False), st.sampled_from(["fluid_c", "coolant_c", "x9"]))
def test_every_written_number_comes_back(number: float, name: str) -> None:
    """repr of a float, bare or as a pair, is read as the same float."""
    assert values(repr(number)) == {"fluid_c": number}
    assert values(f"{name}={number!r}") == {name: number}


@given(st.text())
def test_any_line_is_read_or_refused(text: str) -> None:
    """Nothing else than UnreadableLine comes out of a bad line, and never nan or infinity."""
    try:
        read = read_line(text, CELSIUS)
    except UnreadableLine:
        return
    if isinstance(read, Values):
        assert all(abs(value) < float("inf") for value in read.values.values())


@given(st.lists(st.binary(max_size=12)))
def test_lines_do_not_depend_on_how_the_bytes_were_cut(pieces: list[bytes]) -> None:
    """Whole, byte by byte or in any pieces, the same lines come out."""
    whole = LineSplitter(skip_first=False)
    expected = whole.receive(b"".join(pieces))
    cut = LineSplitter(skip_first=False)
    assert [line for piece in pieces for line in cut.receive(piece)] == expected
    assert cut.rest() == whole.rest()


def test_a_line_without_an_end_does_not_fill_the_memory_and_is_garbage() -> None:
    """Thousands of digits are no number, though their beginning would be one."""
    splitter = LineSplitter(skip_first=False)
    for _ in range(1000):
        assert splitter.receive(b"1" * 100) == []
    (line,) = splitter.receive(b"\n")
    assert len(line) < 2000
    with pytest.raises(UnreadableLine):
        read_line(line, CELSIUS)


class Pieces:
    """A source that hands out what the test wrote, then ends."""

    def __init__(self, *pieces: bytes) -> None:
        self._pieces = list(pieces)

    def receive(self) -> bytes:
        if not self._pieces:
            raise EOFError
        return self._pieces.pop(0)

    def close(self) -> None:
        """Nothing to free."""


def all_of(port: LinesPort) -> list[Polled]:
    polled: list[Polled] = []
    try:
        while True:
            polled += port.poll()
    except EOFError:
        return polled


def test_garbage_is_told_at_once_and_then_summed_up() -> None:
    """The first unreadable line is told, the next ones every 30 s, the rest at the end."""
    now = iter([0.0, 1.0, 31.0, 31.0, 32.0, 33.0, 34.0])
    port = LinesPort(Pieces(b"a\n", b"b\n", b"c\n", b"d\n"), CELSIUS, now_s=lambda: next(now))
    texts = [item.text for item in all_of(port) if isinstance(item, Notice)]
    assert texts == [
        "A line cannot be read and is left out: 'a' (it is neither a number nor name=value pairs).",
        "2 more lines could not be read, the last one 'c'.",
        "1 more line could not be read, the last one 'd'.",
    ]


def test_an_unfinished_last_line_of_a_pipe_counts() -> None:
    """`printf 41.5` without a line end is a number all the same, as for other text tools."""
    assert all_of(LinesPort(Pieces(b"40\n41.5"), CELSIUS))[-1] == Values(
        {"fluid_c": 41.5}, raw="41.5"
    )


def test_a_port_opened_in_mid_line_starts_at_the_next_one() -> None:
    """`1.5` of `41.5` is not taken for a number when a serial port is opened."""
    port = LinesPort(Pieces(b"1.5\n", b"42.0\n"), CELSIUS, hint=" Speed?")
    assert all_of(port) == [Values({"fluid_c": 42.0}, raw="42.0")]


def test_a_stream_without_descriptor_is_read_by_a_thread() -> None:
    """Where a stream cannot be waited on, the same values come."""
    port = LinesPort(StreamBytes(io.BytesIO(b"40\n41\n")), CELSIUS)
    assert [item.values for item in all_of(port) if isinstance(item, Values)] == [
        {"fluid_c": 40.0},
        {"fluid_c": 41.0},
    ]


def test_waiting_for_a_pipe_is_bounded() -> None:
    """With nothing to read, a poll returns after about 0.2 s, and partial lines are kept."""
    near, far = os.pipe()
    try:
        port = LinesPort(DescriptorBytes(near), CELSIUS)
        began = time.monotonic()
        assert port.poll() == []
        assert time.monotonic() - began < 2.0
        os.write(far, b"4")
        assert port.poll() == []
        os.write(far, b"1.5\n")
        assert port.poll() == [Values({"fluid_c": 41.5}, raw="41.5")]
    finally:
        os.close(near)
        os.close(far)


@pytest.mark.parametrize(
    "address",
    [
        "lines:-?unit=K",
        "lines:-?decimal=dot",
        "lines:-?poll=0",
        "lines:-?poll=x",
        "lines:-?speed=9",
    ],
)
def test_wrong_options_are_named(address: str) -> None:
    """A wrong option is one sentence that names it."""
    option = address.partition("?")[2].partition("=")[0]
    with pytest.raises(UsageError, match=option):
        open_link(parse_address(address))


def test_standard_input_of_a_real_process() -> None:
    """A piped program's lines become readings and marks, stamped on arrival; its end ends it."""
    code = (
        "from warmwatch.links import open_link, parse_address\n"
        "link = open_link(parse_address('lines:-?poll=0.1'))\n"
        "print(link.poll_s)\n"
        "for item in link.items():\n"
        "    if item is not None:\n"
        "        print(type(item).__name__, round(item.elapsed_s, 1), flush=True)\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        cwd=Path(__file__).parents[2],
    )  # fmt: skip
    assert process.stdin is not None
    process.stdin.write("40.0\n")
    process.stdin.flush()
    assert process.stdout is not None
    first = process.stdout.readline() + process.stdout.readline()
    time.sleep(0.5)
    out, _ = process.communicate("mark=drip\n41.0", timeout=60)
    assert process.returncode == 0
    kinds = [line.split() for line in (first + out).splitlines()]
    assert [kind[0] for kind in kinds] == ["0.1", "Reading", "Mark", "Reading"]
    assert float(kinds[2][1]) - float(kinds[1][1]) >= 0.3


needs_terminal = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")


@needs_terminal
def test_a_thermometer_on_a_serial_port() -> None:
    """Lines from a port arrive; the first piece is left out; garbage is told with the speed."""
    with StandIn("number_printer.py") as printer:
        link = open_link(parse_address(f"lines:{printer.address}?baud=9600"))
        seen: list[object] = []
        try:
            for item in link.items():
                if item is not None:
                    seen.append(item)
                elif not seen:
                    printer.say(r"print 9.9\r\n41.5\r\n\x85\x07\r\nmark=plug-out\r\n42.")
                    printer.say(r"print 5\r\n")
                if len(seen) == 4:
                    break
        finally:
            link.close()
    first, notice, mark, last = seen
    assert getattr(first, "values", None) == {"fluid_c": 41.5}
    assert isinstance(notice, Notice)
    assert "?baud=9600" in notice.text
    assert isinstance(mark, Mark)
    assert getattr(last, "values", None) == {"fluid_c": 42.5}


@needs_terminal
def test_an_unplugged_thermometer_is_told_as_lost() -> None:
    """When the port goes away, that is said in a sentence and tried again."""
    with StandIn("number_printer.py") as printer:
        run = Run()
        printer.say(r"print \n41.5\n")
        address = f"lines:{printer.address}"
        link = open_link(parse_address(address))
        try:
            for item in link.items():
                if isinstance(item, Notice):
                    run.notices.append(item)
                    break
                if item is not None:
                    printer.unplug()
                else:
                    printer.say(r"print \n41.5\n")
        finally:
            link.close()
    assert run.notices[0].lost
    assert printer.address in run.texts


def test_a_port_that_is_not_there_is_refused_with_the_ports_that_are() -> None:
    """Opening for the first time fails at once, and says which ports exist."""
    from warmwatch.errors import LinkRefused

    with pytest.raises(LinkRefused, match=r"no such port.*This computer has"):
        watch("lines:/dev/no-such-port", lambda run: False, longest_s=10.0)


def test_a_whole_line_that_is_too_long_is_garbage() -> None:
    """No recording could hold it, so it is refused as unreadable, whole or in pieces."""
    splitter = LineSplitter(skip_first=False)
    (line,) = splitter.receive(b'mark=note note="' + b"\\" * 45_000 + b'"\n')
    with pytest.raises(UnreadableLine):
        read_line(line, LineFormat())
