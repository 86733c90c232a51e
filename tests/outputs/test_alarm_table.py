"""One alarm, told alike: every alarm state through screen, page, sound, voice, JSON and plain."""

import io
import json
from collections.abc import Callable, Mapping
from dataclasses import replace

import pytest

from tests.outputs.views import BAND, Played, silent
from warmwatch.core.alarm import AlarmCode, Plug
from warmwatch.core.band import Band
from warmwatch.core.events import Event
from warmwatch.core.job import Job
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.outputs.base import AlarmChange
from warmwatch.outputs.jsonlines import JsonLines
from warmwatch.outputs.page.cues import Cues
from warmwatch.outputs.page.message import Shown, state_message
from warmwatch.outputs.plain import PlainLines
from warmwatch.outputs.screen.board import board
from warmwatch.outputs.screen.headline import Headline
from warmwatch.outputs.sound.output import Sound
from warmwatch.outputs.sound.tones import TONES
from warmwatch.words.catalogue import phrase
from warmwatch.words.level import alarm_text
from warmwatch.words.speech import alarm_sentence
from warmwatch.words.status import status_line

IDLE = {"engine_rpm": 760.0, "speed_kmh": 0.0}


def readings(
    played: Played, fluid_c: float, seconds: int = 5, *, per_s: float = 0.0, **values: float
) -> Played:
    """Feed a reading a second."""
    return played.take(
        [
            Reading(played.now_s + i, {"fluid_c": fluid_c + per_s * i, **IDLE, **values})
            for i in range(1, seconds + 1)
        ]
    )


def settled() -> Played:
    return readings(Played(), 85.0, 120)


def plug_out() -> Played:
    return settled().mark(MarkName.PLUG_OUT)


def top_nearing() -> Played:
    played = readings(plug_out(), 85.0, 60, per_s=0.03)
    return readings(played, 86.8, 75, per_s=0.04)


def bottom_nearing() -> Played:
    """A fluid that cools inside the band, with the plug out."""
    played = readings(Played(), 86.0, 120)
    played = readings(played, 86.0, 90, per_s=-0.02).mark(MarkName.PLUG_OUT)
    return readings(played, 84.2, 150, per_s=-0.02)


def drained_then_started() -> Played:
    """Opened to drain with the engine off; then the engine runs with the plug out."""
    played = readings(Played(Job(BAND, drain_band=Band(40.0, 60.0))), 50.0, engine_rpm=0.0)
    played.mark(MarkName.PLUG_OUT).mark(MarkName.DRAINED, "4 L 50 C")
    return readings(played, 50.0)


STATES: Mapping[AlarmCode, tuple[Callable[[], Played], Headline]] = {
    AlarmCode.BLIND: (lambda: settled().take(silent(120.0, 10)), Headline.BLIND),
    AlarmCode.TOO_HOT: (lambda: readings(settled(), 85.0, coolant_c=120.0), Headline.TOO_HOT),
    AlarmCode.HOLD_LIMIT: (
        lambda: readings(settled(), 85.0, 8, engine_rpm=2200.0),
        Headline.HOLD_LIMIT,
    ),
    AlarmCode.LEFT_HIGH: (lambda: readings(plug_out(), 85.0, 80, per_s=0.1), Headline.ABOVE),
    AlarmCode.LEFT_LOW: (lambda: readings(plug_out(), 85.0, 80, per_s=-0.1), Headline.BELOW),
    AlarmCode.NOT_FIT: (lambda: readings(plug_out(), 85.0, engine_rpm=0.0), Headline.NOT_FIT),
    AlarmCode.TOP_NEARING: (top_nearing, Headline.TOP_NEAR),
    AlarmCode.BOTTOM_NEARING: (bottom_nearing, Headline.BOTTOM_NEAR),
    AlarmCode.PLUG_OPEN: (
        lambda: readings(plug_out().mark(MarkName.LEVEL_SET), 85.0),
        Headline.PLUG_OPEN,
    ),
}


def outputs_of(played: Played) -> dict[str, object]:
    """Return what each output makes of the state: whether it insists, and with what."""
    view = played.view()
    alarm = view.snapshot.alarm
    first = alarm.first
    assert first is not None
    seen = board(view, played.history())
    cues = Cues()
    sound = Sound(cues)
    sound.show(view)
    message = state_message(Shown(view, played.history(), 0.0, [], cues.repeats()), 0.0, 9.0)
    lines = io.StringIO()
    JsonLines(lines).take(AlarmChange(view.now_s, alarm))
    return {
        "screen": (seen.headline, seen.word, seen.insists, seen.plug_out),
        "page": (message["state"], message["word"], message["unheard"], message["plug_out"]),
        "sound": {repeat["tone"]: repeat["every_s"] for repeat in cues.repeats()},
        "voice": alarm_sentence(first.code, view),
        "json": json.loads(lines.getvalue()),
        "plain": status_line(view),
    }


@pytest.mark.parametrize("code", list(STATES))
def test_every_output_tells_the_same_alarm(code: AlarmCode) -> None:
    """Banner, page, tones, words, JSON and plain lines agree on what insists and on the plug."""
    make, headline = STATES[code]
    played = make()
    alarm = played.watch.alarm
    assert alarm.insists
    assert alarm.first is not None
    assert alarm.first.code is code
    out = alarm.plug is Plug.OUT
    told = outputs_of(played)
    assert told["screen"] == (headline, phrase(f"headline.{headline}"), True, out)
    assert told["page"] == (headline, phrase(f"headline.{headline}"), True, out)
    assert told["sound"] == {str(one.code): one.every_s for one in alarm.standing}
    assert code in TONES
    assert str(told["voice"]).endswith(".")
    made = told["json"]
    assert isinstance(made, dict)
    assert (made["insists"], made["plug"]) == (True, str(alarm.plug))
    assert made["standing"][0]["alarm"] == code
    assert made["standing"][0]["heard"] is False
    word = "BLIND" if code is AlarmCode.BLIND else alarm_text(alarm.first, "C").rstrip(".")
    assert word in str(told["plain"])


@pytest.mark.parametrize("code", list(STATES))
def test_every_output_knows_that_it_was_heard(code: AlarmCode) -> None:
    """After a mark nothing flashes, and only blindness and the open plug are recalled, seldom."""
    played = STATES[code][0]().mark(MarkName.ACKNOWLEDGE)
    told = outputs_of(played)
    screen, page, made = told["screen"], told["page"], told["json"]
    assert isinstance(screen, tuple)
    assert isinstance(page, tuple)
    assert isinstance(made, dict)
    assert screen[2] is page[2] is made["insists"] is False
    reminded = {AlarmCode.BLIND, AlarmCode.PLUG_OPEN} & {
        o.code for o in played.watch.alarm.standing
    }
    assert told["sound"] == {str(one): 30.0 for one in reminded}


def heard_too_hot() -> Played:
    """Coolant above its ceiling, long enough for the fluid to settle, and heard."""
    return readings(Played(), 85.0, 120, coolant_c=120.0).mark(MarkName.ACKNOWLEDGE)


@pytest.mark.parametrize(
    ("marks", "fluid_c", "values", "headline"),
    [
        ((), 85.0, {"engine_rpm": 2200.0}, Headline.HOLD_LIMIT),
        ((MarkName.PLUG_OUT,), 95.0, {}, Headline.ABOVE),
        ((MarkName.PLUG_OUT,), 85.0, {"engine_rpm": 0.0}, Headline.NOT_FIT),
        ((MarkName.PLUG_OUT, MarkName.LEVEL_SET), 85.0, {}, Headline.PLUG_OPEN),
    ],
)
def test_what_was_heard_hides_nothing_that_insists(
    marks: tuple[MarkName, ...], fluid_c: float, values: Mapping[str, float], headline: Headline
) -> None:
    """While the coolant stays too hot and that was heard, banner and status name the new alarm."""
    played = heard_too_hot()
    for mark in marks:
        played.mark(mark)
    readings(played, fluid_c, 10, coolant_c=120.0, **values)
    alarm = played.watch.alarm
    assert alarm.first is not None
    assert alarm.insists
    assert alarm.stands(AlarmCode.TOO_HOT)
    told = outputs_of(played)
    assert told["screen"] == (headline, phrase(f"headline.{headline}"), True, bool(marks))
    assert told["page"] == told["screen"]
    assert alarm_text(alarm.first, "C").rstrip(".") in str(told["plain"])
    played.mark(MarkName.ACKNOWLEDGE)
    assert board(played.view(), played.history()).headline is Headline.TOO_HOT


def test_an_alarm_during_a_rest_is_shown() -> None:
    """Coolant that becomes too hot as the vehicle is switched off: shown, with no old figure."""
    played = readings(settled(), 85.0, 5).mark(MarkName.RESTING)
    readings(played, 85.0, 5, engine_rpm=0.0, coolant_c=120.0).take(silent(played.now_s, 6))
    assert played.watch.snapshot().rest is not None
    seen = board(played.view(), played.history())
    assert (seen.headline, seen.insists, seen.figure) == (Headline.TOO_HOT, True, "")
    assert "TOO HOT" in status_line(played.view())


def test_plain_lines_tell_an_alarm_that_no_event_tells() -> None:
    """A plug taken out above the band, or before the check is allowed, insists at once in words."""
    for played, expected in (
        (readings(Played(), 95.0, 120), "PLUG OUT above the band"),
        (readings(Played(), 85.0, 20), "PLUG OUT, not fit"),
        (settled(), ""),
    ):
        lines = io.StringIO()
        plain = PlainLines(lines, lines, played.watch.job)
        played.mark(MarkName.PLUG_OUT)
        plain.take(Mark(played.now_s, MarkName.PLUG_OUT))
        plain.take(AlarmChange(played.now_s, played.watch.alarm))
        assert [expected in line for line in lines.getvalue().splitlines()[1:]] == [True] * bool(
            expected
        )


def test_plain_lines_tell_no_alarm_twice() -> None:
    """Where an event says it, the alarm of the same name adds no line."""
    lines = io.StringIO()
    played = settled()
    plain = PlainLines(lines, lines, played.watch.job)
    for _ in range(8):
        item = Reading(played.now_s + 1.0, {"fluid_c": 85.0, **IDLE, "coolant_c": 120.0})
        played.now_s = item.elapsed_s
        plain.take(item)
        for result in played.watch.step(item):
            if isinstance(result, Event):
                plain.take(result)
        plain.take(AlarmChange(item.elapsed_s, played.watch.alarm))
    assert lines.getvalue().count("TOO HOT") == 1


def test_the_table_is_whole() -> None:
    """Every code of an alarm stands in the table."""
    assert set(STATES) == set(AlarmCode)


def test_an_engine_that_runs_with_the_drain_plug_out_insists() -> None:
    """After `drained` only `plug-in` closes the plug; the plain lines tell it, too."""
    played = drained_then_started()
    alarm = played.watch.alarm
    assert (alarm.plug, alarm.insists) == (Plug.OUT, True)
    assert alarm.stands(AlarmCode.PLUG_OPEN)
    lines = io.StringIO()
    PlainLines(lines, lines, played.watch.job).take(AlarmChange(9.0, alarm))
    assert "Close the plug: the engine runs with the plug out." in lines.getvalue()
    assert not played.mark(MarkName.PLUG_IN).watch.alarm.standing


def test_a_plug_that_is_forgotten_is_asked_about_again_and_again() -> None:
    """Four minutes without a mark with the plug out insist, and so do the next four."""
    played = readings(plug_out(), 85.0, 230)
    assert not played.watch.alarm.insists
    for _ in range(2):
        readings(played, 85.0, 15)
        assert played.watch.alarm.stands(AlarmCode.PLUG_OPEN)
        assert played.watch.alarm.insists
        played.mark(MarkName.ACKNOWLEDGE)
        readings(played, 85.0, 230)
        assert not played.watch.alarm.insists


def test_a_fault_code_is_never_too_hot_on_a_screen() -> None:
    """Coolant at 215 °C is a sensor's fault code: no event, no alarm, no banner."""
    played = readings(settled(), 85.0, coolant_c=215.0)
    assert not played.watch.alarm.standing
    view = replace(played.view())
    assert board(view, played.history()).headline is Headline.INSIDE
    assert not any("215" in text for text in board(view, played.history()).conditions)


def test_a_new_reason_insists_anew() -> None:
    """What was heard was the stopped engine; a vehicle that then moves is another matter."""
    played = readings(plug_out(), 85.0, engine_rpm=0.0).mark(MarkName.ACKNOWLEDGE)
    readings(played, 85.0, engine_rpm=0.0)
    assert not played.watch.alarm.insists
    readings(played, 85.0, engine_rpm=1500.0, speed_kmh=20.0)
    assert played.watch.alarm.insists
