"""Which typed lines are marks, and which marks a list of them leaves standing."""

import pytest

from warmwatch.core.level.marks import standing_marks, taken_back
from warmwatch.core.reading import Mark, MarkName, mark_of_note

M = MarkName


@pytest.mark.parametrize(
    ("typed", "name", "rest"),
    [
        ("drip", M.DRIP, ""),
        ("Plug-Out:", M.PLUG_OUT, ""),
        ("plug-in, tight", M.NOTE, "plug-in, tight"),
        ("drained 4 L", M.DRAINED, "4 L"),
        ("topped-up .3 L", M.TOPPED_UP, ".3 L"),
        ("topped-up", M.TOPPED_UP, ""),
        ("vehicle-level -0.3", M.VEHICLE_LEVEL, "-0.3"),
        ("vehicle-level enough", M.NOTE, "vehicle-level enough"),
        ("drip 4", M.NOTE, "drip 4"),
        ("note", M.NOTE, "note"),
        ("acknowledge", M.NOTE, "acknowledge"),
        ("  smells burnt ", M.NOTE, "smells burnt"),
        ("", M.NOTE, ""),
    ],
)
def test_a_typed_line_is_a_mark_only_where_it_can_be_nothing_else(
    typed: str, name: MarkName, rest: str
) -> None:
    """The mark's name alone, or with an amount or a tilt behind it; all else is a note."""
    assert mark_of_note(typed) == (name, rest)


def test_marks_taken_back_are_told_apart() -> None:
    """Each `withdraw` takes back the last that stands; one too many takes nothing back."""
    marks = [Mark(float(n), name) for n, name in enumerate([M.DRIP, M.NOTE, M.ACKNOWLEDGE])]
    back = [Mark(10.0 + n, M.WITHDRAW) for n in range(3)]
    assert taken_back([*marks, back[0]]) == [False, True, False, False]
    assert taken_back([*marks, *back]) == [True, True, False, False, False, False]
    assert standing_marks([*marks, back[0]]) == [marks[0], marks[2]]
    assert standing_marks([*marks, *back]) == [marks[2]]
