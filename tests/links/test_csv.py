"""Replaying CSV files of any origin."""

import contextlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.core.reading import Reading
from warmwatch.errors import InputError, UsageError, WarmwatchError
from warmwatch.links import Notice, open_link, parse_address
from warmwatch.links.csv.cells import number
from warmwatch.words.reasons import doubt_text


def items(path: Path, options: str = "") -> list[object]:
    link = open_link(parse_address(f"csv:{path}{options}"))
    return [item for item in link.items() if item is not None]


def readings(path: Path, options: str = "") -> list[Reading]:
    return [item for item in items(path, options) if isinstance(item, Reading)]


def write(tmp_path: Path, content: str | bytes) -> Path:
    path = tmp_path / "log.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


NAMES = "?elapsed_s=t&fluid_c=temp"
ROWS = [(0.0, 20.5), (1.0, 21.0)]


@pytest.mark.parametrize(
    "content",
    [
        "t,temp\n0,20.5\n1,21\n",
        "t,temp\r\n0,20.5\r\n1,21\r\n",
        "t;temp\n0;20,5\n1;21,0\n",
        "t\ttemp\n0\t20,5\n1\t21\n",
        'temp,x,t\n"20,5",a,0\n"21,0",b,1\n',
        "\ufefft,temp\n0,20.5\n\n1,21",
        "t,temp\n0,20.5\n1,21\n".encode("utf-16"),
    ],
    ids=["plain", "windows", "semicolon", "tab", "quoted comma", "mark", "utf-16"],
)
def test_the_shapes_that_spreadsheets_write(tmp_path: Path, content: str | bytes) -> None:
    """Separator, decimal mark, line end, byte-order mark and encoding are found out."""
    path = write(tmp_path, content)
    assert [(r.elapsed_s, r.values["fluid_c"]) for r in readings(path, NAMES)] == ROWS


def test_fahrenheit_columns_become_celsius(tmp_path: Path) -> None:
    """Every temperature of the file is in its unit; other values stay as they are.

    (185 degF = 85 degC, common practice, no source.)
    """
    path = write(tmp_path, "t,temp,rpm\n0,185,780\n")
    (reading,) = readings(path, NAMES + "&engine_rpm=rpm&unit=F")
    assert reading.values == {"fluid_c": 85.0, "engine_rpm": 780.0}


def test_our_own_column_names_need_no_options(tmp_path: Path) -> None:
    """A file with our quantity names is read as it is."""
    path = write(tmp_path, "elapsed_s,fluid_c,coolant_c\n0,20,25\n")
    assert readings(path)[0].values == {"fluid_c": 20.0, "coolant_c": 25.0}


def test_wall_time_columns_give_elapsed_time(tmp_path: Path) -> None:
    """ISO 8601 times count from the first row, across midnight and summer time."""
    rows = "2026-10-24T23:59:59+02:00,20\n2026-10-25T00:00:01+02:00,21\n"
    path = write(tmp_path, "when,temp\n" + rows)
    assert [r.elapsed_s for r in readings(path, "?time=when&fluid_c=temp")] == [0.0, 2.0]


def test_what_is_no_number_is_doubtful_not_dropped(tmp_path: Path) -> None:
    """Text and NaN in a number column stay in the stream as doubts; empty cells say nothing."""
    path = write(tmp_path, "t,temp\n0,20\n1,fault\n2,NaN\n3,\n4,1_0\n5,22\n")
    found = readings(path, NAMES)
    assert [bool(r.doubts) for r in found] == [False, True, True, False, True, False]
    assert found[1].doubts == {"fluid_c": "not-a-number; 'fault'"}
    assert doubt_text(found[1].doubts["fluid_c"], "C") == "not a number; 'fault'"
    assert [r.values.get("fluid_c") for r in found] == [20, None, None, None, None, 22]


def test_rows_without_a_time_are_told(tmp_path: Path) -> None:
    """What cannot be placed in time is counted."""
    *_, last = items(write(tmp_path, "t,temp\n0,20\n,21\nx,22\n"), NAMES)
    assert last == Notice("2 rows of log.csv had no readable time and were left out.")


def test_the_usual_interval_is_found(tmp_path: Path) -> None:
    """A file of one row in ten seconds is not blind between rows."""
    path = write(tmp_path, "t,temp\n" + "".join(f"{10 * t},{20 + t}\n" for t in range(8)))
    assert open_link(parse_address(f"csv:{path}{NAMES}")).poll_s == 10.0


@pytest.mark.parametrize(
    ("content", "options", "sentence"),
    [
        ("t,temp\n0,20\n", "", "t, temp: say which is which with --column elapsed_s=NAME"),
        ("t,temp\n0,20\n", "?elapsed_s=t&fluid_c=oil", "no column 'oil' for fluid_c"),
        ("t,temp\n0,20\n", "?elapsed_s=t&fluid=temp", "'fluid' is not a quantity"),
        ("t,temp\n0,20\n", NAMES + "&unit=K", "neither C nor F"),
        ("t,temp\n", NAMES, "has a header but no rows"),
        ("", NAMES, "is empty"),
        ("\n", NAMES, "is empty"),
        ("time,temp\n0,20\n", "?fluid_c=temp", "--column elapsed_s=time"),
        ("t,temp\n1780000000000,20\n", NAMES, "too large for seconds"),
        ('t,temp\n"1,000",20\n', NAMES, "decimal comma or a thousands mark"),
        ('t,temp\n0,"20,500"\n', NAMES, "decimal comma or a thousands mark"),
        ('"t,temp\n0,20\n', NAMES, "header of log.csv has a quote"),
        ('t,temp\n"0,20\n', NAMES, "ends its quotes"),
        ("t,temp\n" + "0" * 70000, NAMES, "line 2 never ends"),
        ("t,temp\0\n0,20\n", NAMES, "is not a text file"),
        ("time_s,temp_F\n0,68\n", "?fluid_c=temp_F", "seems to be in °F: add --unit F"),
        ("time_s,Fluid [°F]\n0,68\n", "?fluid_c=Fluid+[°F]", "seems to be in °F"),
        ("t,temp\n0,hot\n1,hot\n", NAMES, "holds 'hot', which is not a number"),
        ("t,temp\nnoon,20\n", NAMES, "holds 'noon', which is not a number"),
    ],
)
def test_bad_files_get_one_sentence(
    tmp_path: Path, content: str, options: str, sentence: str
) -> None:
    """What is wrong and what to do, in one sentence."""
    with pytest.raises(WarmwatchError, match=sentence) as caught:
        items(write(tmp_path, content), options)
    assert "\n" not in str(caught.value)


def test_missing_files_and_folders_are_told(tmp_path: Path) -> None:
    """A name that is no file is wrong usage."""
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(UsageError):
            open_link(parse_address(f"csv:{path}"))


@given(st.binary(max_size=400))
def test_no_file_crashes_the_reader(content: bytes) -> None:
    """Any bytes give readings or one sentence, never another error."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_bytes(b"t,temp\n" + content)
        with contextlib.suppress(InputError):
            items(path, NAMES)


@pytest.mark.parametrize(
    ("cell", "value"),
    [("20.5", 20.5), ("20,5", 20.5), (" 7 ", 7.0), ("1,234.5", None), ("1_0", None), ("inf", None)],
)
def test_numbers_in_cells(cell: str, value: float | None) -> None:
    """One comma is a decimal mark; a thousands mark is refused rather than guessed."""
    assert number(cell) == value


def test_a_paced_replay_waits(tmp_path: Path) -> None:
    """Between two rows a paced replay gives None often enough for keys and the blind timer."""
    path = write(tmp_path, "t,temp\n0,20\n10,21\n")
    link = open_link(parse_address(f"csv:{path}{NAMES}"), pace=20.0)
    seen = list(link.items())
    assert seen.count(None) >= 2
    assert link.elapsed_s() == 10.0


def test_a_windows_path_is_no_kind() -> None:
    """A drive letter is part of a file name, not a link kind."""
    assert parse_address("C:\\logs\\van.csv").rest == "C:\\logs\\van.csv"


def test_a_column_named_twice_is_not_guessed(tmp_path: Path) -> None:
    """Two columns of one name: which is meant must be said."""
    path = write(tmp_path, "t,temp,temp\n0,20,85\n")
    with pytest.raises(UsageError, match="2 columns named 'temp'"):
        readings(path, NAMES)


def test_a_column_time_s_is_elapsed_time(tmp_path: Path) -> None:
    """A column whose name says seconds needs no option."""
    path = write(tmp_path, "time_s,temp\n0,20\n1,21\n")
    assert [r.elapsed_s for r in readings(path, "?fluid_c=temp")] == [0.0, 1.0]


def test_decimal_commas_in_a_comma_file_are_not_other_numbers(tmp_path: Path) -> None:
    """`0,0,20,5` under two names would read as 0 degC: it is refused, a single one left out."""
    with pytest.raises(InputError, match="more cells than its header"):
        items(write(tmp_path, "t,temp\n0,0,20,5\n1,0,21,5\n"), NAMES)
    *found, last = items(write(tmp_path, "t,temp\n0,20,\n1,21,5\n2,22,,\n"), NAMES)
    assert len(found) == 2
    assert isinstance(last, Notice)
