"""Which event sounds, which of them insist, and what ends that."""

from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from warmwatch.core.band import Band
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName, Reading, Tick
from warmwatch.core.watch import Watch
from warmwatch.outputs.base import Summary
from warmwatch.outputs.sound import output as sound
from warmwatch.outputs.sound.output import Sound
from warmwatch.words.view import View


@dataclass
class Ears:
    """Takes the place of the tone player and keeps what it was told."""

    calls: list[tuple[str, float | None]] = field(default_factory=list)
    words: dict[str, Callable[[], str]] = field(default_factory=dict)
    finish_s: float | None = None
    audible: bool = True

    def play(
        self, event_kind: str, words: Callable[[], str] = str, every_s: float | None = None
    ) -> None:
        self.calls.append((str(event_kind), every_s))
        self.words[str(event_kind)] = words

    def remind(self, event_kind: str, words: Callable[[], str], every_s: float) -> None:
        self.calls.append((f"remind {event_kind}", every_s))

    def hush(self, *kinds: str) -> None:
        self.calls.append(("hush", None))

    def close(self, finish_s: float = 0.0) -> None:
        self.finish_s = finish_s


def sounding() -> tuple[Sound, Ears]:
    ears = Ears()
    return Sound(ears), ears


def view_of(watch: Watch) -> View:
    return View(watch.job, watch.snapshot(), 0.0, {}, {}, "lines:-", "", "", "")


def test_loss_of_signal_and_heat_insist_and_others_do_not() -> None:
    """`blind` and `too-hot` repeat; with the plug in, the rest sounds once."""
    output, ears = sounding()
    for kind in EventKind:
        output.take(Event(1.0, kind))
    insisting = {name for name, every_s in ears.calls if every_s is not None}
    assert insisting == {"blind", "too-hot"}
    assert {name for name, _ in ears.calls} == {str(kind) for kind in EventKind}


@pytest.mark.parametrize("end", [MarkName.PLUG_IN, MarkName.LEVEL_SET])
def test_leaving_the_band_insists_while_the_plug_is_out(end: MarkName) -> None:
    """From `plug-out` to `plug-in` or `level-set` leaving the band repeats, and not after."""
    output, ears = sounding()
    output.take(Mark(1.0, MarkName.PLUG_OUT))
    for kind in (EventKind.TOP_NEARING, EventKind.NOT_FIT, EventKind.ENTERED):
        output.take(Event(2.0, kind))
    output.take(Mark(3.0, end))
    output.take(Event(4.0, EventKind.LEFT_HIGH))
    assert ears.calls == [
        ("hush", None),
        ("top-nearing", sound.PLUG_OUT_S),
        ("not-fit", sound.PLUG_OUT_S),
        ("entered", None),
        ("hush", None),
        ("left-high", None),
    ]


@pytest.mark.parametrize("name", list(MarkName))
def test_any_mark_ends_the_repeats_but_blind_is_recalled(name: MarkName) -> None:
    """A mark shows that the tone was heard; loss of signal is still recalled, more rarely."""
    output, ears = sounding()
    output.take(Event(1.0, EventKind.BLIND))
    output.take(Mark(2.0, name))
    assert ears.calls[1:] == [("hush", None), ("remind blind", sound.BLIND_REMINDER_S)]
    output.take(Event(3.0, EventKind.SEEING))
    output.take(Mark(4.0, name))
    assert ears.calls[3:] == [("seeing", None), ("hush", None)]


def test_notices_sound_only_when_they_must_be_heard() -> None:
    """A failing recording has a tone of its own; ordinary notices are silent."""
    output, ears = sounding()
    output.take(Notice("reopened the port"))
    output.take(Reading(1.0, {"fluid_c": 20.0}))
    output.take(Notice("NOT RECORDED any more", alarm=True))
    assert ears.calls == [("trouble", None)]


def test_words_follow_the_state_at_the_time_of_speaking() -> None:
    """The words of `blind` are asked late, and are empty once readings have come back."""
    watch = Watch(Job(Band(80.0, 90.0)))
    output, ears = sounding()
    watch.step(Reading(0.0, {"fluid_c": 50.0}))
    watch.step(Tick(10.0))
    output.take(Event(5.0, EventKind.BLIND))
    output.show(view_of(watch))
    assert ears.words["blind"]() == "Signal lost."
    watch.step(Reading(11.0, {"fluid_c": 50.0}))
    output.show(view_of(watch))
    assert ears.words["blind"]() == ""


@pytest.mark.parametrize(
    ("stopped_by", "waits"), [("until", True), ("end of input", True), ("interrupt", False)]
)
def test_last_tone_is_heard_out_unless_the_mechanic_ended_it(stopped_by: str, waits: bool) -> None:
    """At the end of input the last tone may finish; Ctrl-C ends at once."""
    output, ears = sounding()
    output.close(Summary(view_of(Watch(Job(Band(80.0, 90.0)))), stopped_by))
    assert (ears.finish_s == sound.LAST_TONE_S) is waits
