"""Lines broken by cells: nothing is lost, and none is too wide, in any script."""

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from tests.outputs.views import BAND, Played, ramp
from warmwatch.core.reading import MarkName
from warmwatch.outputs.screen.board import board
from warmwatch.outputs.screen.glyphs import FULL
from warmwatch.outputs.screen.layout import Frame, render
from warmwatch.outputs.screen.wrapping import wrap

SCRIPTS = "ab zä漢字油温センサー한글🔧é.-"


@given(st.text(SCRIPTS, max_size=120), st.integers(2, 60), st.integers(0, 8))
def test_nothing_is_lost_and_none_too_wide(text: str, width: int, indent: int) -> None:
    """All signs but spaces come out in their order, in lines of at most `width` cells."""
    lines = wrap(text, width, indent=" " * indent)
    assert all(cell_len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_a_note_in_wide_signs_is_read_to_its_end() -> None:
    """A note of 40 signs of two cells each is on a screen of 60 columns as a whole."""
    note = (
        "変速機の油温は八十五度で車両は水平である確認は二回目であり油面は溢れ口の高さにあるよ終わり"
    )
    played = Played().take(ramp(60, 62, per_min=6.0)).mark(MarkName.NOTE, note)
    shown = render(board(played.view(), played.history()), Frame(60, 24, FULL, BAND, "C"))
    drawn = "".join("".join(span for span, _ in line).strip() for line in shown)
    assert note in drawn
