"""CSV files that could be read as something else than they say: told, asked about or refused."""

import csv
import io
import os
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.links.test_csv import NAMES, ROWS, items, readings, write
from warmwatch.core.reading import Reading
from warmwatch.errors import InputError, UsageError, WarmwatchError
from warmwatch.links import Notice, parse_address
from warmwatch.links.csv.cells import split_row

CELL = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\r\n"), max_size=20)


@given(st.lists(CELL, min_size=1, max_size=6), st.sampled_from(",;\t"))
def test_rows_are_split_as_the_csv_module_writes_them(cells: list[str], separator: str) -> None:
    """Python's csv.writer is the independent side: whatever it writes on a line comes back."""
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator="\n").writerow(cells)
    assert split_row(out.getvalue(), separator) == cells


def test_one_open_quote_costs_its_own_row_only(tmp_path: Path) -> None:
    """RFC 4180 allows line ends in quotes; one quote too many then swallows the rest of a log."""
    rows = [f"{t},{20 + t / 100},ok\n" for t in range(800)]
    rows[300] = '300,23,"ok\n'
    *found, last = items(write(tmp_path, "t,temp,note\n" + "".join(rows)), NAMES)
    assert len(found) == 799
    assert last == Notice(
        "1 row of log.csv had a quote that does not end on its line and was left out."
    )


def test_a_note_of_two_lines_is_told_and_its_end_is_no_row(tmp_path: Path) -> None:
    """The second line of such a cell may look like a row, and must not become a reading."""
    path = write(tmp_path, 'note,t,temp\na,0,20\n"b\nx",99,20\nc,1,21\n"d, e",2,22\n')
    *found, last = items(path, NAMES)
    assert [r.elapsed_s for r in found if isinstance(r, Reading)] == [0.0, 1.0, 2.0]
    assert isinstance(last, Notice)
    assert last.text.startswith("2 rows")


def test_a_thousands_mark_is_no_decimal_comma(tmp_path: Path) -> None:
    """`1,000` in a file separated by commas: doubtful as a value, not read as the time 1 s."""
    content = 't,temp,rpm\n998,80,"1,000"\n999,80,999\n"1,000",80,999\n'
    *found, last = items(write(tmp_path, content), NAMES + "&engine_rpm=rpm")
    first, second = (item for item in found if isinstance(item, Reading))
    assert "engine_rpm" in first.doubts
    assert "engine_rpm" not in first.values
    assert second.values["engine_rpm"] == 999.0
    assert last == Notice("1 row of log.csv had no readable time and was left out.")


@pytest.mark.parametrize(
    "content",
    [
        't,temp\n"0,000","20,500"\n"1,000","21,000"\n',
        't,temp\n0,"20,5"\n1,"21,000"\n',
        "t;temp\n0;20,500\n1;21,000\n",
    ],
    ids=["leading zero", "one digit", "semicolon"],
)
def test_three_decimals_are_read_where_the_file_shows_its_decimal_comma(
    tmp_path: Path, content: str
) -> None:
    """A comma that can only be a decimal mark elsewhere in the file says what all of them are."""
    assert [
        (r.elapsed_s, r.values["fluid_c"]) for r in readings(write(tmp_path, content), NAMES)
    ] == (ROWS)


def test_milliseconds_are_asked_about(tmp_path: Path) -> None:
    """Rows 1000 apart may be ms: asked first, and not asked where it cannot be."""
    rows = "".join(f"{t * 1000},{20 + t}\n" for t in range(5))
    first, *_ = items(write(tmp_path, "t,temp\n" + rows), NAMES)
    assert isinstance(first, Notice)
    assert "1000 s apart: is the time column in milliseconds?" in first.text
    rows = "".join(f"{t}:00:00,{20 + t}\n" for t in range(5))
    first, *_ = items(write(tmp_path, "t,temp\n" + rows), NAMES)
    assert isinstance(first, Reading)


@pytest.mark.parametrize(
    ("options", "cells", "expected"),
    [
        (NAMES, ["0:00", "00:01.5", "75:00"], [0.0, 1.5, 4500.0]),
        (NAMES, ["1:00:00", "01:00:01"], [3600.0, 3601.0]),
        ("?time=t&fluid_c=temp", ["23:59:59", "0:00:01", "0:00:02"], [0.0, 2.0, 3.0]),
    ],
    ids=["minutes", "hours", "past midnight"],
)
def test_clock_times_are_elapsed_time(
    tmp_path: Path, options: str, cells: list[str], expected: list[float]
) -> None:
    """[h:]mm:ss(.s) counts up; a time of day counts from the first row and past midnight."""
    path = write(tmp_path, "t,temp\n" + "".join(f"{cell},20\n" for cell in cells))
    assert [r.elapsed_s for r in readings(path, options)] == expected


def test_a_time_of_day_without_seconds_is_not_guessed(tmp_path: Path) -> None:
    """`12:30` under `time` may be hours and minutes, or minutes and seconds."""
    with pytest.raises(InputError, match="not a time"):
        readings(write(tmp_path, "time,temp\n12:30,20\n12:31,21\n"), "?fluid_c=temp")


def test_leading_blank_lines_are_no_header(tmp_path: Path) -> None:
    """The first line that holds something is the header."""
    path = write(tmp_path, "\n \r\nt,temp\n0,20.5\n1,21\n")
    assert [(r.elapsed_s, r.values["fluid_c"]) for r in readings(path, NAMES)] == ROWS


def test_no_byte_of_a_file_steers_the_terminal(tmp_path: Path) -> None:
    """Escape codes in names of columns or of the file are not shown as they are."""
    for content in (b"\x1b[2J,\x9b31m\n0,20\n", b"\x7fELF\x02\x01\x00\x00\n\n"):
        path = tmp_path / "a\x1b[31m.csv"
        path.write_bytes(content)
        with pytest.raises(WarmwatchError) as caught:
            items(path)
        assert str(caught.value).isprintable()
    path.write_text("t,temp\n0,20\nx,20\n", encoding="utf-8")
    *_, last = items(path, NAMES)
    assert isinstance(last, Notice)
    assert last.text.isprintable()


def test_fahrenheit_is_asked_about_before_anything_is_signalled(tmp_path: Path) -> None:
    """A warm-up in degF, 68 to 190, would be in a band of 80 to 90 degC at 27 to 32 degC."""
    path = write(tmp_path, "t,temp\n" + "".join(f"{t},{68 + t / 5}\n" for t in range(610)))
    first, *_ = items(path, NAMES)
    assert isinstance(first, Notice)
    assert "up to 180 if they are in °C: are they in °F?" in first.text
    for options in ("&unit=C", "&unit=F"):  # it was said
        assert not [item for item in items(path, NAMES + options) if isinstance(item, Notice)]


def test_a_fault_code_is_no_fahrenheit(tmp_path: Path) -> None:
    """Values no fluid can have (FF raw is 215 degC) and a single spike raise no question."""
    cells = [20, 215, 215, 215, 140, 21]
    path = write(tmp_path, "t,temp\n" + "".join(f"{t},{c}\n" for t, c in enumerate(cells)))
    assert all(isinstance(item, Reading) for item in items(path, NAMES))


def test_a_question_mark_may_stand_in_a_files_name(tmp_path: Path) -> None:
    """A file that is there is meant before options are; both can be given."""
    path = tmp_path / "what?.csv"
    path.write_text("t,temp\n0,20.5\n1,21\n", encoding="utf-8")
    for text in (str(path), f"csv:{path}"):
        assert parse_address(text).rest == str(path)
    assert len(readings(path, NAMES)) == 2


def test_a_file_with_another_ending_says_how(tmp_path: Path) -> None:
    """`log.txt` may be a CSV file: with the kind in front it is read."""
    path = tmp_path / "log.txt"
    path.write_text("t,temp\n0,20.5\n1,21\n", encoding="utf-8")
    with pytest.raises(UsageError, match="write csv:"):
        parse_address(str(path))
    assert len(readings(path, NAMES)) == 2


@pytest.mark.skipif(sys.platform == "win32", reason="there are no named pipes of this kind")
def test_what_can_be_read_only_once_is_refused_at_once(tmp_path: Path) -> None:
    """A pipe would be waited for, or be empty when it is read."""
    path = tmp_path / "pipe.csv"
    os.mkfifo(path)
    with pytest.raises(UsageError, match="only once"):
        items(path, NAMES)
