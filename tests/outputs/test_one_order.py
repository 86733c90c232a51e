"""One order at a time: banner, step line, voice and plain lines never ask for two things."""

import io

import pytest

from tests.outputs.views import BAND, Played, silent
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import MarkName, Reading
from warmwatch.core.steps import Step
from warmwatch.outputs.base import StepChange
from warmwatch.outputs.page.message import Shown, state_message
from warmwatch.outputs.plain import PlainLines
from warmwatch.outputs.screen.board import Board, board
from warmwatch.outputs.screen.headline import Headline
from warmwatch.words.catalogue import phrase
from warmwatch.words.steps import step_act, step_line, step_words

M = MarkName
IDLE = {"engine_rpm": 760.0, "speed_kmh": 0.0}


def read(played: Played, fluid_c: float, seconds: int = 120, **values: float) -> Played:
    start_s = played.now_s
    return played.take(
        [Reading(start_s + i, {"fluid_c": fluid_c, **IDLE, **values}) for i in range(1, seconds)]
    )


def shown(played: Played) -> Board:
    return board(played.view(), played.history())


def page_step(played: Played) -> object:
    return state_message(Shown(played.view(), played.history(), 0.0, [], []), 0.0, 9.0)["step"]


def test_nobody_is_told_to_open_the_plug_while_the_check_would_not_count() -> None:
    """In the band with the engine off: the banner says why not, and no output says the step."""
    played = read(Played(), 85.0, engine_rpm=0.0)
    view = played.view()
    assert view.snapshot.step is Step.OPEN_PLUG
    assert shown(played).act.startswith("Not fit for the check")
    assert shown(played).step.text == ""
    assert page_step(played) == {"now": "", "waits": ""}
    assert step_words(Step.OPEN_PLUG, view) == ""
    lines = io.StringIO()
    change = StepChange(1.0, Step.OPEN_PLUG, view.snapshot.step_allowed)
    PlainLines(lines, lines, played.watch.job).take(change)
    assert lines.getvalue() == ""


def test_fit_in_the_band_the_step_stands_beside_the_state() -> None:
    """Both say the same: the check may begin."""
    played = read(Played(), 85.0)
    assert shown(played).act == phrase("act.inside")
    assert "take the plug out" in shown(played).step.text
    assert "take the plug out" in step_words(Step.OPEN_PLUG, played.view())


def test_at_the_open_plug_what_is_seen_there_is_the_order() -> None:
    """Screen and voice say the same sentence, and the step adds only what is waited for."""
    played = read(Played(), 85.0).mark(M.PLUG_OUT)
    order = shown(played).act
    assert order == phrase("plug.tell") == step_words(Step.CHECK, played.view())
    assert page_step(played) == {"now": "", "waits": phrase("waits.check")}
    played.mark(M.STREAM)
    assert shown(played).act == phrase("plug.let-run")
    assert "close" not in shown(played).step.text


@pytest.mark.parametrize(
    ("fluid_c", "marks", "step"),
    [
        (50.0, [], Step.DRAIN),
        (50.0, [(M.PLUG_OUT, "")], Step.DRAIN),
        (70.0, [], Step.COOL_TO_DRAIN),
        (50.0, [(M.DRAINED, "4 L 50 C")], Step.FILL),
        (50.0, [(M.DRAINED, "4 L 50 C"), (M.FILLED, "4 L 20 C")], Step.ROAD_TEST),
        (85.0, [(M.PLUG_OUT, ""), (M.NO_DRIP, ""), (M.PLUG_IN, "")], Step.TOP_UP),
        (85.0, [(M.PLUG_OUT, ""), (M.DRIP, ""), (M.PLUG_IN, "")], Step.SET_LEVEL),
    ],
)
def test_a_step_that_is_not_about_heat_is_the_one_order(
    fluid_c: float, marks: list[tuple[MarkName, str]], step: Step
) -> None:
    """The banner says it in place of "Wait." or "The level may be checked now."."""
    played = read(Played(Job(BAND, drain_band=Band(40.0, 60.0))), fluid_c)
    for name, note in marks:
        played.mark(name, note)
    view = played.view()
    assert view.snapshot.step is step
    assert shown(played).act == step_act(step, view.job)
    assert shown(played).step.text == f"({step_line(view).waits})"
    assert shown(played).fit


def test_after_the_last_mark_the_engine_may_be_off() -> None:
    """Once the level is set, a stopped engine is no reason to speak of a check."""
    played = read(Played(), 85.0)
    for name in (M.PLUG_OUT, M.DRIP, M.PLUG_IN, M.LEVEL_SET):
        played.mark(name)
    read(played, 85.0, 30, engine_rpm=0.0)
    assert shown(played).act == phrase("step.done")


def test_what_insists_silences_the_step() -> None:
    """Blind, and above the band with the plug out: one order, that of the banner."""
    blind = read(Played(), 50.0).take(silent(119.0, 10))
    assert (shown(blind).headline, shown(blind).step.text) == (Headline.BLIND, "")
    hot = read(Played(), 85.0).mark(M.PLUG_OUT)
    read(hot, 92.0, 60)
    assert hot.view().snapshot.alarm.insists
    assert shown(hot).step.text == ""
    assert shown(hot).act == phrase("plug.above")
