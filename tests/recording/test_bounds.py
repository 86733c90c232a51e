"""No row is longer than the readers take, whatever came in."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.recording.invented import JOB, fold
from warmwatch.core.events import Event, EventKind
from warmwatch.core.level.verdict import NOTHING_CHECKED
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.reason import Reason
from warmwatch.core.units import QUANTITIES
from warmwatch.core.watch import Watch
from warmwatch.recording.bounds import CUT, bounded
from warmwatch.recording.reader import MAX_LINE, RowReader
from warmwatch.recording.rows import Chain, cells_item, event_cells, item_cells
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording
from warmwatch.recording.writer import create

NASTY = ("\\", '"', "\n", "\x01", "\U0001f600", "a", '\\"')
LONG = st.builds(lambda char, count: char * count, st.sampled_from(NASTY), st.integers(0, 50000))
NAME = st.sampled_from([*QUANTITIES]) | st.builds(
    lambda char, count: char * count, st.sampled_from(NASTY), st.integers(1, 5000)
)
MANY = st.integers(0, 1500).map(lambda n: {f"value_{k}": -1.7976931348623157e308 for k in range(n)})
ITEM = (
    st.builds(Mark, st.just(-1.7976931348623157e308), st.just(MarkName.SELECTOR_CYCLED), LONG)
    | st.builds(Tick, st.just(1.0), LONG)
    | st.builds(Reading, st.just(1.0), MANY, st.dictionaries(NAME, LONG, max_size=30), LONG)
)


@given(ITEM)
def test_no_item_makes_a_row_that_cannot_be_read(item: Item) -> None:
    """The longest texts of the characters that swell most when escaped still fit."""
    kept = bounded(item)
    line = Chain().seal(item_cells(kept))
    assert len(line.encode("utf-8")) + 2 < MAX_LINE
    assert bounded(kept) is kept


@given(
    st.builds(
        Event,
        st.just(1.0),
        st.just(EventKind.DOUBTFUL),
        st.just(80.0),
        reasons=LONG.map(lambda text: (Reason(text),)),
    )
)
def test_no_event_makes_a_row_that_cannot_be_read(event: Event) -> None:
    """A reason is cut like any other text."""
    assert len(Chain().seal(event_cells(event, 0.0)).encode("utf-8")) + 2 < MAX_LINE


def test_what_fits_is_left_as_it_is() -> None:
    """A usual reading is the same object after, so that nothing is copied at speed."""
    reading = Reading(1.0, {"fluid_c": 80.0, "odd": 1.0}, {"odd": "why"}, "7E8")
    assert bounded(reading) is reading


def test_a_doubt_of_a_quantity_is_never_left_out() -> None:
    """A reading that the link doubts must not become one that is believed."""
    doubts = {f"x{n}": "y" * 300 for n in range(100)} | dict.fromkeys(QUANTITIES, "z" * 300)
    kept = bounded(Reading(1.0, {"fluid_c": 80.0}, doubts))
    assert isinstance(kept, Reading)
    assert kept.doubts.keys() >= QUANTITIES.keys()
    assert kept.doubts["row"].endswith(CUT)


@pytest.mark.parametrize("char", NASTY)
def test_a_long_note_leaves_the_recording_whole(tmp_path: Path, char: str) -> None:
    """It is cut with a remark, and the recording reads and verifies."""
    recorder, watch = create(tmp_path, JOB, "lines:-", {}, 1_780_000_000.0), Watch(JOB)
    note = Mark(1.0, MarkName.NOTE, char * 45_000)
    for item in (Reading(0.0, {"fluid_c": 50.0}), note, Reading(2.0, {"fluid_c": 50.0})):
        fold(recorder, watch, bounded(item))
    recorder.item(note)  # the recorder itself takes nothing longer, either
    recorder.close(2.0, None, NOTHING_CHECKED)
    kept = [cells_item(row.cells) for row in RowReader(recorder.path)]
    notes = [item.note for item in kept if isinstance(item, Mark)]
    assert len(notes) == 2
    assert all(text.endswith(CUT) for text in notes)
    assert verify_recording(recorder.path).state is SealState.INTACT
