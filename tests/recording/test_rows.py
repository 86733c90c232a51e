"""Rows: exact round trips, guarded text, a chain that notices every change."""

import math

from hypothesis import given
from hypothesis import strategies as st

from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.units import QUANTITIES
from warmwatch.recording.rows import (
    MAX_TIME_S,
    Chain,
    cells_item,
    guard,
    item_cells,
    unguard,
    utc_seconds,
    utc_text,
)
from warmwatch.recording.schema import current_schema

TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=60)
NUMBER = st.floats(allow_nan=False, allow_infinity=False)
SECONDS = st.floats(-MAX_TIME_S, MAX_TIME_S)
TIME = st.none() | st.integers(0, 4_000_000_000_000).map(lambda ms: ms / 1000)
NAMES = st.sampled_from([*QUANTITIES, "turbine_rpm", 'a name, "quoted"'])
ITEMS: st.SearchStrategy[Item] = st.one_of(
    st.builds(
        Reading,
        SECONDS,
        st.dictionaries(NAMES, NUMBER, max_size=5),
        st.dictionaries(NAMES, TEXT, max_size=2),
        TEXT,
        TIME,
    ),
    st.builds(Mark, SECONDS, st.sampled_from(MarkName), TEXT, TIME),
    st.builds(Tick, SECONDS, TEXT, TIME),
)


@given(TEXT)
def test_free_text_comes_back_exactly(text: str) -> None:
    """Any Unicode, line ends, quotes, backslashes, right-to-left text: all round-trip."""
    assert unguard(guard(text)) == text


@given(TEXT)
def test_free_text_is_no_formula_and_one_line(text: str) -> None:
    """No cell begins like a spreadsheet formula (= + - @, tab) or holds a line end."""
    cell = guard(text)
    assert cell[:1] not in ("=", "+", "-", "@", "\t")
    assert "\n" not in cell
    assert "\r" not in cell


@given(ITEMS)
def test_an_item_comes_back_exactly(item: Item) -> None:
    """What is written is what was folded, to the last digit."""
    line = Chain().seal(item_cells(item))
    assert "\n" not in line
    assert cells_item(current_schema().split(line)) == item


def test_a_lone_surrogate_cannot_break_the_file() -> None:
    """What is no text is replaced before it is digested, so file and digest agree."""
    line = Chain().seal(item_cells(Mark(0.0, MarkName.NOTE, "bad \udc80 text")))
    assert Chain().check(line.encode("utf-8").decode("utf-8"))


@given(st.lists(ITEMS, min_size=2, max_size=8), st.data())
def test_the_chain_notices_any_changed_character(items: list[Item], data: st.DataObject) -> None:
    """Changing any one character of any row breaks the chain there."""
    chain = Chain()
    lines = [chain.seal(item_cells(item)) for item in items]
    at = data.draw(st.integers(0, len(lines) - 1))
    place = data.draw(st.integers(0, len(lines[at]) - 1))
    other = "0" if lines[at][place] != "0" else "1"
    lines[at] = lines[at][:place] + other + lines[at][place + 1 :]
    check = Chain()
    assert [check.check(line) for line in lines] != [True] * len(lines)


@given(st.integers(0, 4_000_000_000_000))
def test_wall_time_comes_back_to_the_millisecond(milliseconds: int) -> None:
    """ISO 8601 in UTC keeps milliseconds."""
    seconds = utc_seconds(utc_text(milliseconds / 1000))
    assert seconds is not None
    assert math.isclose(seconds, milliseconds / 1000, abs_tol=1e-6)


def test_wall_time_is_iso_8601() -> None:
    """RFC 3339, section 5.8 gives 1985-04-12T23:20:50.52Z as its example."""
    assert utc_seconds("1985-04-12T23:20:50.52Z") == 482196050.52
    assert utc_text(482196050.52) == "1985-04-12T23:20:50.520Z"
