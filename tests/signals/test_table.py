"""Signal files: what they may hold, and what a wrong one says."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.errors import UsageError
from warmwatch.signals import decode, load_signal_file
from warmwatch.signals.table import parse_signals

GOOD = """title = "Invented for the tests"

[[signal]]
name = "fluid_c"
service = 0x22
identifier = 0x1234
first_byte = 1
length = 2
record_length = 4
signed = true
scale = 0.1
offset = -10
unit = "C"
low = -30
high = 150
target = 0x7E1
answer_id = 0x7E9
source = "invented"

[[signal]]
name = "engine_rpm"
service = 0x01
identifier = 0x0C
length = 2
scale = 0.25
offset = 0
"""


def test_a_signal_file_gives_what_it_says(tmp_path: Path) -> None:
    """Every key reaches the signal, also from a file that begins with a byte order mark."""
    path = tmp_path / "vehicle.toml"
    path.write_text(GOOD, encoding="utf-8-sig")
    table = load_signal_file(path)
    fluid = table.named("fluid_c")
    assert fluid is not None
    assert (fluid.service, fluid.identifier, fluid.target) == (0x22, 0x1234, 0x7E1)
    assert (fluid.answer_id, fluid.low, fluid.high) == (0x7E9, -30.0, 150.0)
    assert fluid.ask == "22 1234"
    assert decode(fluid, bytes.fromhex("00FF9C00")).value == -20.0
    assert [signal.name for signal in table] == ["fluid_c", "engine_rpm"]
    assert table.named("engine_rpm") == table.signals[1]


def test_fahrenheit_becomes_celsius_once() -> None:
    """A record of 185 with unit F is 85 degC, and so are its plausible limits (32 F = 0 C)."""
    text = GOOD.replace('unit = "C"', 'unit = "F"').replace("scale = 0.1", "scale = 1")
    fluid = parse_signals(text.replace("low = -30", "low = 32"), "x").signals[0]
    assert fluid.low == 0.0
    assert decode(fluid, bytes([0, 0, 195, 0])).value == 85.0


WRONG = [
    ('name = "fluid_c"', 'name = "fluid"', 4, "name"),
    ("service = 0x22", "service = 0x2E", 5, "service"),
    ("service = 0x22", "service = 0x14", 5, "service"),
    ("service = 0x22", 'service = "22"', 5, "service"),
    ("identifier = 0x1234", "identifier = 0x12345", 6, "identifier"),
    ("identifier = 0x1234", "", 3, "identifier"),
    ("first_byte = 1", "first_byte = -1", 7, "first_byte"),
    ("length = 2", "length = true", 8, "length"),
    ("record_length = 4", "record_length = 2", 9, "record_length"),
    ("signed = true", "signed = 1", 10, "signed"),
    ("scale = 0.1", "scale = 0", 11, "scale"),
    ("scale = 0.1", 'scale = "A*2"', 11, "scale"),
    ("offset = -10", "offset = nan", 12, "offset"),
    ('unit = "C"', 'unit = "K"', 13, "unit"),
    ('unit = "C"', "", 3, "unit"),
    ("low = -30", "low = 150", 14, "low"),
    ("target = 0x7E1", "targets = 0x7E1", 16, "targets"),
    ('source = "invented"', "source = 5", 18, "source"),
    ("identifier = 0x0C", "identifier = 0x10C", 23, "identifier"),
    ("offset = 0\n", 'offset = 0\nunit = "F"\n', 27, "unit"),
    ('[[signal]]\nname = "fluid_c"', '[[signals]]\nname = "fluid_c"', 3, "signals"),
]


@pytest.mark.parametrize(("old", "new", "line", "key"), WRONG)
def test_a_wrong_file_names_its_line_and_key(old: str, new: str, line: int, key: str) -> None:
    """What is wrong is told as `FILE, line N: 'key' ...`, with exit code 2."""
    with pytest.raises(UsageError) as caught:
        parse_signals(GOOD.replace(old, new, 1), "vehicle.toml")
    assert str(caught.value).startswith(f"vehicle.toml, line {line}: {key!r} ")


def test_text_that_is_no_toml_names_the_line() -> None:
    """The reader's own message carries the line."""
    with pytest.raises(UsageError, match="line 4"):
        parse_signals(GOOD.replace('name = "fluid_c"', "name = fluid_c", 1), "vehicle.toml")


@pytest.mark.parametrize("text", ["", "signal = 5", "signal = []", "signal = [1]"])
def test_a_file_without_signals_says_so(text: str) -> None:
    """An empty file is wrong usage, not a link that asks for nothing."""
    with pytest.raises(UsageError, match=r"no \[\[signal\]\]"):
        parse_signals(text, "vehicle.toml")


def test_a_missing_or_binary_file_is_wrong_usage(tmp_path: Path) -> None:
    """What cannot be opened or is no text is told in one sentence."""
    with pytest.raises(UsageError, match="cannot be read"):
        load_signal_file(tmp_path / "none.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(UsageError, match="UTF-8"):
        load_signal_file(tmp_path / "bytes.toml")


def _complaint(text: str) -> str | None:
    try:
        parse_signals(text, "x")
    except UsageError as error:
        return str(error)
    return None


@given(st.text(max_size=200))
def test_no_text_breaks_the_reader(text: str) -> None:
    """Whatever a file holds, it is a table or a UsageError."""
    assert _complaint(text) != ""


_KEYS = st.sampled_from(["service", "identifier", "length", "scale", "unit", "low", "target", "z"])
_VALUES = st.one_of(st.integers(), st.booleans(), st.floats(), st.just("inf"), st.just('"C"'))


@given(_KEYS, _VALUES)
def test_no_value_of_a_key_breaks_the_reader(key: str, value: object) -> None:
    """Any value of any key is taken or refused with the key's name."""
    shown = str(value).lower() if isinstance(value, bool) else str(value)
    text = "\n".join(line for line in GOOD.splitlines() if not line.startswith(f"{key} ="))
    text = text.replace('name = "fluid_c"', f'name = "fluid_c"\n{key} = {shown}', 1)
    complaint = _complaint(text)
    assert complaint is None or "'" in complaint


def test_a_record_of_another_length_is_doubted() -> None:
    """Without its length fitting, a record is not a temperature."""
    fluid = parse_signals(GOOD, "x").signals[0]
    assert decode(fluid, bytes(3)).value is None
    rpm = parse_signals(GOOD, "x").signals[1]
    assert decode(rpm, b"\x01").value is None
    assert decode(rpm, b"\x01").doubt == "record-short bytes=1 needed=2"
