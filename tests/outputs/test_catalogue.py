"""Another language is one more catalogue, and nothing else: shown by one of made-up letters."""

import re
import string
from collections.abc import Iterator, Mapping
from dataclasses import fields

import pytest

from tests.outputs.views import BAND, Played, ramp, silent
from warmwatch.app.keyboard.terminal import KEYS, key_words
from warmwatch.core.alarm import AlarmCode
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.reading import MarkName, Reading
from warmwatch.core.reason import Reason
from warmwatch.core.steps import Step
from warmwatch.outputs.screen.board import board
from warmwatch.words import catalogue
from warmwatch.words.english import PHRASES
from warmwatch.words.events import event_text
from warmwatch.words.level import conditions_text
from warmwatch.words.speech import alarm_sentence, sentence
from warmwatch.words.status import status_line
from warmwatch.words.steps import step_text, step_words

_UNITS = re.compile(r"\b(min|s|h|km|mL|V|C|F|L|r|csv|mm|key_[a-z]+)\b|key .")


def made_up(template: str) -> str:
    """Return a phrase with each letter of its words replaced, its fields left."""
    parts = string.Formatter().parse(template)
    return "".join(
        re.sub(r"[^\W\d_]", "ж", text) + (f"{{{name}}}" if name is not None else "")
        for text, name, _, _ in parts
    )


MADE_UP: Mapping[str, str] = {code: made_up(text) for code, text in PHRASES.items()}


@pytest.fixture
def other_language() -> Iterator[None]:
    catalogue.use(MADE_UP)
    yield
    catalogue.use(PHRASES)


def visits() -> Iterator[Played]:
    warm = Played(Job(BAND, drain_band=None)).take(ramp(60, 78, per_min=3.0))
    yield warm
    inside = Played().take(ramp(78, 84, per_min=3.0)).mark(MarkName.PLUG_OUT)
    yield inside
    yield Played().take(ramp(78, 84)).take(silent(120.0, 20))
    hot = {"fluid_c": 96.0, "engine_rpm": 2300.0, "speed_kmh": 0.0, "coolant_c": 120.0}
    yield Played().take([Reading(float(t), hot) for t in range(20)]).mark(MarkName.PLUG_OUT)
    yield Played().take(ramp(95, 96)).mark(MarkName.RESTING).take(silent(21.0, 30))


def said(played: Played) -> Iterator[str]:
    """Yield everything that screen, voice and plain lines make of a state."""
    view = played.view(link="lines:-")
    seen = board(view, played.history())
    for field in fields(seen):
        value = getattr(seen, field.name)
        if field.name not in ("headline", "unit") and isinstance(value, str):
            yield value
        elif isinstance(value, tuple):
            yield from value
    yield seen.step.text
    yield status_line(view)
    yield conditions_text(view)
    for kind in EventKind:
        fit = None if kind is EventKind.FIT else False
        yield event_text(Event(1.0, kind, 85.0, 0.5, (Reason("engine-off"),), fit), BAND, "C")
        yield sentence(kind, view, (Reason("engine-off"),))
    for code in AlarmCode:
        yield alarm_sentence(code, view)
    for step in Step:
        yield step_text(step, view.job)
        yield step_words(step, view)


@pytest.mark.slow
@pytest.mark.usefixtures("other_language")
def test_no_english_is_left_when_the_catalogue_is_another() -> None:
    """Screen, voice, plain lines and events: no word but units, names and keys stands elsewhere."""
    for played in visits():
        for text in said(played):
            rest = _UNITS.sub("", text)
            assert not re.search(r"[A-Za-z]{2,}", rest), text
    assert all("ж" in text for text in key_words(KEYS, page=True))


def test_what_a_catalogue_leaves_out_is_said_in_english() -> None:
    """Half a translation is no reason for silence."""
    catalogue.use({})
    try:
        assert catalogue.phrase("headline.blind") == "BLIND"
    finally:
        catalogue.use(PHRASES)


def test_every_code_has_its_words() -> None:
    """Each event, step, alarm, mark and spoken number has a phrase; none is an empty surprise."""
    for group, names in {
        "event": map(str, EventKind),
        "step": map(str, Step),
        "waits": map(str, Step),
        "alarm": map(str, AlarmCode),
        "mark": map(str, MarkName),
    }.items():
        assert [name for name in names if not PHRASES.get(f"{group}.{name}")] == []
