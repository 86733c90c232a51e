"""Reasons: a code with figures that a recording keeps as text and gives back the same."""

import string

from hypothesis import given
from hypothesis import strategies as st

from warmwatch.core.events import Event, EventKind
from warmwatch.core.reason import Reason, parse_reasons, reasons_text
from warmwatch.words.reasons import reason_text

WORD = st.text(string.ascii_lowercase, min_size=1, max_size=8)
REASONS = st.builds(
    Reason,
    st.lists(WORD, min_size=1, max_size=3).map("-".join),
    st.dictionaries(WORD, st.floats(allow_nan=False, allow_infinity=False), max_size=3),
)


@given(st.lists(REASONS, min_size=1, max_size=3).map(tuple))
def test_reasons_come_back_from_their_text(reasons: tuple[Reason, ...]) -> None:
    """Codes and figures read back exactly, whatever the figures."""
    assert parse_reasons(reasons_text(reasons)) == reasons


@given(st.text(max_size=60))
def test_every_text_is_a_reason_and_stays_as_it_is(text: str) -> None:
    """A link's own words and the sentences of old recordings are shown as they were."""
    assert str(Reason.parse(text)) == text
    assert reasons_text(parse_reasons(text)) == text


def test_a_recorded_reason_has_this_form() -> None:
    """`code name=value name=value`, several parted by a semicolon."""
    engine, idled = Reason("engine-off", {"rpm": 0.0}), Reason("idled-too-short", {"idled_s": 1.5})
    event = Event(1.0, EventKind.ENTERED, 85.0, reasons=(engine, idled), fit=False)
    assert event.text == "engine-off rpm=0; idled-too-short idled_s=1.5"


def test_a_reason_without_words_or_figures_is_shown_as_recorded() -> None:
    """A recording of a later version must still be read, in codes where words are missing."""
    later = Reason("something-new", {"level_c": 4.0})
    assert reason_text(later, "C") == "something-new level_c=4"
    assert reason_text(Reason("silent"), "C") == "silent"
    assert reason_text(Reason("silent", {"silent_s": 5.0}), "C").endswith("for 5 s")
