"""The layout: fits any window, with any characters, and keeps what matters most."""

from dataclasses import replace
from functools import cache
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from tests.outputs.views import BAND, Played, ramp, silent
from warmwatch.app.keyboard.terminal import KEYS, key_words
from warmwatch.core.band import Band
from warmwatch.core.reading import MarkName, Reading
from warmwatch.outputs.screen.board import Board, board
from warmwatch.outputs.screen.digits import _SIGNS, big
from warmwatch.outputs.screen.gauge import gauge
from warmwatch.outputs.screen.glyphs import ASCII, FULL, LATIN, Glyphs, glyphs_for
from warmwatch.outputs.screen.headline import Headline
from warmwatch.outputs.screen.layout import BANNER_STYLES, Frame, Line, Style, render
from warmwatch.words.catalogue import phrase

SETS = (FULL, LATIN, ASCII)
SIZES = ((60, 20), (80, 24), (100, 30), (120, 40), (200, 60))
KEY_WORDS = key_words(KEYS, page=True)


def text(lines: list[Line]) -> str:
    return "\n".join("".join(span for span, _ in line) for line in lines)


def frame(size: tuple[int, int], glyphs: Glyphs = FULL, **more: object) -> Frame:
    return Frame(*size, glyphs, BAND, "C", KEY_WORDS, **more)  # type: ignore[arg-type]


def played(kind: str) -> Played:
    """Return a watch in one of its states."""
    made = Played().take(ramp(60, 77, per_min=6.0))
    if kind in ("inside", "blind", "unfit"):
        made.take(ramp(77.1, 84.0, per_min=6.0, from_s=made.now_s + 1))
    if kind in ("inside", "blind"):
        made.take(ramp(84.0, 84.1, per_min=0.05, from_s=made.now_s + 1))
    if kind == "above":
        made.take(ramp(77.1, 93.0, per_min=6.0, from_s=made.now_s + 1))
    if kind == "blind":
        made.mark(MarkName.PLUG_OUT).take(silent(made.now_s, 14))
    return made


@cache
def shown(kind: str) -> Board:
    made = played(kind)
    return board(made.view(), made.history())


KINDS = ("below", "inside", "unfit", "above", "blind")


@pytest.mark.parametrize(("kind", "size", "glyphs"), list(product(KINDS, SIZES, SETS)))
def test_what_matters_is_there(kind: str, size: tuple[int, int], glyphs: Glyphs) -> None:
    """From 60×20 up, every state shows word, picture, figure, gauge, link, recording and keys."""
    seen = shown(kind)
    lines = render(seen, frame(size, glyphs))
    drawn = text(lines)
    assert len(lines) == size[1]
    assert glyphs.pictures[seen.headline] in drawn
    assert seen.word in drawn or "\n".join(big(seen.word, size[0], 4, glyphs))[:20] in drawn
    figure = big(seen.figure or "BLIND", size[0], size[1], glyphs)
    assert len([row for row in drawn.split("\n") if glyphs.block in row]) >= min(len(figure), 7)
    assert "80" in drawn
    assert "90" in drawn
    assert seen.link[:30] in drawn
    assert "r.csv" in drawn or size == SIZES[0]  # when it goes well it may give way there
    assert "d drip" in drawn
    assert ("BLIND" in seen.word) == (kind == "blind")


@pytest.mark.slow
@given(
    st.sampled_from(KINDS),
    st.integers(10, 230),
    st.integers(4, 70),
    st.sampled_from(SETS),
    st.text(max_size=60),
    st.booleans(),
)
def test_it_never_exceeds_the_window(
    kind: str, width: int, height: int, glyphs: Glyphs, note: str, beat: bool
) -> None:
    """Any window of any size gets exactly its lines, none too wide, whatever a note holds."""
    seen = replace(shown(kind), happened=(*shown(kind).happened, note), link=note or "-")
    lines = render(seen, frame((width, height), glyphs, prompt=note, beat=beat))
    assert len(lines) == height
    for line in lines:
        joined = "".join(span for span, _ in line)
        assert cell_len(joined) <= width
        assert joined.isprintable() or not joined


@pytest.mark.parametrize(("kind", "size"), list(product(KINDS, SIZES)))
def test_plain_terminals_can_show_it(kind: str, size: tuple[int, int]) -> None:
    """Every character can be encoded for the terminal that the set is chosen for."""
    for encoding in ("cp1252", "ascii", "cp437", "cp850", "latin-1"):
        drawn = text(render(shown(kind), frame(size, glyphs_for(encoding))))
        assert drawn.encode(encoding)


def test_the_set_is_chosen_by_the_encoding() -> None:
    """The block characters of CP437 and CP850 are used, cp1252 has none, ascii no degree sign."""
    names = {name: glyphs_for(name).name for name in ("utf-8", "cp1252", "ascii", "nonsense")}
    assert names == {"utf-8": "full", "cp1252": "latin", "ascii": "ascii", "nonsense": "ascii"}


def test_the_figure_grows_with_the_window() -> None:
    """The figure takes the largest whole scale that the width and the height allow."""
    heights = [
        sum(1 for line in render(shown("inside"), frame(size)) if FULL.block * 2 in text([line]))
        for size in SIZES
    ]
    assert heights == sorted(heights)
    assert heights[0] >= 7
    assert heights[-1] >= 25


@pytest.mark.parametrize("size", [(60, 6), (40, 8), (30, 6), (30, 9)])
def test_a_tiny_window_keeps_state_figure_and_link(size: tuple[int, int]) -> None:
    """However few the rows: the state, the figure and the age of the last reading stay."""
    drawn = text(render(shown("inside"), frame(size)))
    assert shown("inside").word in drawn
    assert shown("inside").figure in drawn
    assert "Last reading" in drawn


def test_blind_leaves_no_figure() -> None:
    """When blind neither the last temperature nor a mark on the gauge is on the screen."""
    blind, seeing = shown("blind"), shown("inside")
    drawn = text(render(blind, frame((80, 24))))
    assert "\n".join(big(seeing.figure, 70, 11, FULL)).split("\n")[0] not in drawn
    _, line = gauge(BAND, None, "C", 76, FULL)
    assert line in drawn
    assert FULL.marker not in line
    assert "NO GOOD READING" in drawn


def test_no_state_is_told_by_colour_alone() -> None:
    """Each state has words and a picture of its own."""
    assert set(BANNER_STYLES) == set(Headline)
    for glyphs in SETS:
        assert len(set(glyphs.pictures.values())) == len(Headline)


def test_what_insists_flashes_and_the_rest_does_not() -> None:
    """Only what insists makes the banner change with the beat."""
    blind, inside = shown("blind"), shown("inside")
    for seen, flashes in ((blind, True), (inside, False)):
        on, off = (render(seen, frame((80, 24), beat=beat))[0] for beat in (True, False))
        assert (on != off) is flashes


def test_trouble_with_the_recording_comes_before_conditions() -> None:
    """In a window with no room to spare a failed recording is still on the screen."""
    made = played("inside")
    seen = board(made.view(recording_trouble="The disk is full."), made.history())
    assert "The disk is full." in text(render(seen, frame((60, 18))))


def test_the_note_being_typed_is_seen() -> None:
    """While a note is typed its end is on the last line, however long it is."""
    lines = render(shown("below"), frame((60, 20), prompt="Note: " + "x" * 100 + " end"))
    assert text(lines[-1:]).endswith(" end_")


def test_the_panel_replaces_the_figure_but_not_the_state() -> None:
    """With the page's address on the screen, state, temperature and link health stay there."""
    panel: tuple[Line, ...] = ((("http://127.0.0.1/open/x", Style.PLAIN),),)
    drawn = text(render(shown("inside"), frame((60, 20), panel=panel)))
    assert shown("inside").word in drawn
    assert "84.1 °C" in drawn
    assert "Last reading" in drawn
    assert "http://127.0.0.1/open/x" in drawn


@given(
    st.floats(20, 130), st.floats(0.5, 30), st.floats(-40, 180), st.integers(20, 200),
    st.sampled_from(SETS), st.sampled_from("CF"),
)  # fmt: skip
def test_the_mark_is_on_the_right_side(
    low_c: float, width_c: float, fluid_c: float, width: int, glyphs: Glyphs, unit: str
) -> None:
    """However narrow the window, the mark stands inside the band exactly when the fluid does."""
    band = Band(low_c, low_c + width_c)
    place = (fluid_c - band.low_c) / (band.high_c - band.low_c)
    labels, line = gauge(band, place, unit, width, glyphs)
    assert (len(labels), len(line)) == (width, width)
    low, high = line.index(glyphs.low_edge), line.rindex(glyphs.high_edge)
    marks = [i for i, char in enumerate(line) if char in (glyphs.marker, *glyphs.beyond)]
    if glyphs.marker in line:
        at = line.index(glyphs.marker)
        assert (low < at < high) is (0 <= place <= 1)
    else:
        assert len(marks) == 1
        assert marks[0] in (0, width - 1)


def test_digits_are_told_apart() -> None:
    """No two digits are drawn alike, and every sign is rectangular and seven rows high."""
    drawings = {sign: tuple(_SIGNS[sign].split()) for sign in _SIGNS}
    assert len({drawings[sign] for sign in "0123456789-.?"}) == 13
    for rows in drawings.values():
        assert len(rows) == 7
        assert len({len(row) for row in rows}) == 1


def test_every_word_can_be_drawn() -> None:
    """The words of all states and any temperature can be drawn large."""
    for state in Headline:
        if state is not Headline.ENDED:
            assert big(board_word(state), 400, 8, FULL)
    assert big("-12.5", 100, 8, ASCII)


def board_word(state: Headline) -> str:
    return phrase(f"headline.{state}")


def test_a_reading_of_now_is_drawn_as_its_figure() -> None:
    """The drawing on the screen is that of the temperature and of no other."""
    made = Played().take([Reading(float(i), {"fluid_c": 64.0}) for i in range(6)])
    drawn = text(render(board(made.view(), made.history()), frame((60, 20))))
    for row in big("64", 40, 7, FULL):
        assert row.strip() in drawn
