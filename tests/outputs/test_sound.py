"""Which event sounds, which of them insist, and what ends that."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import pytest

from warmwatch.core.band import Band
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Reading, Tick
from warmwatch.core.watch import Watch
from warmwatch.outputs.base import Summary
from warmwatch.outputs.sound import output as sound
from warmwatch.outputs.sound.output import Sound
from warmwatch.words.view import View


@dataclass
class HeardTones:
    """Takes the place of the tone player and keeps what it was told."""

    calls: list[str] = field(default_factory=list)
    words: dict[str, Callable[[], str]] = field(default_factory=dict)
    insisting: dict[str, float] = field(default_factory=dict)
    finish_s: float | None = None
    audible: bool = True

    def play(self, name: str, words: Callable[[], str] = str) -> None:
        self.calls.append(name)
        self.words[name] = words

    def insist(self, alarms: Mapping[str, tuple[Callable[[], str], float]]) -> None:
        self.insisting = {name: every_s for name, (_, every_s) in alarms.items()}

    def close(self, finish_s: float = 0.0) -> None:
        self.finish_s = finish_s


def sounding() -> tuple[Sound, HeardTones]:
    heard = HeardTones()
    return Sound(heard), heard


def view_of(watch: Watch) -> View:
    return View(watch.job, watch.snapshot(), 0.0, "lines:-", "", "", "")


def test_every_event_is_offered_to_the_player_once() -> None:
    """Nothing insists by an event alone: that is the core's to say."""
    output, heard = sounding()
    for kind in EventKind:
        output.take(Event(1.0, kind))
    assert heard.calls == [str(kind) for kind in EventKind]
    assert heard.insisting == {}


def test_an_entry_that_is_not_fit_sounds_otherwise() -> None:
    """In the band with the engine off is another tone than in the band and fit."""
    output, heard = sounding()
    for fit in (True, None, False):
        output.take(Event(1.0, EventKind.ENTERED, 85.0, fit=fit))
    assert heard.calls == ["entered", "entered", "entered-not-fit"]


def test_notices_sound_only_when_they_must_be_heard() -> None:
    """A failing recording has a tone of its own; ordinary notices are silent."""
    output, heard = sounding()
    output.take(Notice("reopened the port"))
    output.take(Reading(1.0, {"fluid_c": 20.0}))
    output.take(Notice("NOT RECORDED any more", alarm=True))
    assert heard.calls == ["trouble"]


def test_words_follow_the_state_at_the_time_of_speaking() -> None:
    """The words of `blind` are asked late, and are empty once readings have come back."""
    watch = Watch(Job(Band(80.0, 90.0)))
    output, heard = sounding()
    watch.step(Reading(0.0, {"fluid_c": 50.0}))
    watch.step(Tick(10.0))
    output.take(Event(5.0, EventKind.BLIND))
    output.show(view_of(watch))
    assert heard.words["blind"]() == "Signal lost."
    watch.step(Reading(11.0, {"fluid_c": 50.0}))
    output.show(view_of(watch))
    assert heard.words["blind"]() == ""


@pytest.mark.parametrize(
    ("stopped_by", "waits"), [("until", True), ("end of input", True), ("interrupt", False)]
)
def test_last_tone_is_heard_out_unless_the_mechanic_ended_it(stopped_by: str, waits: bool) -> None:
    """At the end of input the last tone may finish; Ctrl-C ends at once."""
    output, heard = sounding()
    output.close(Summary(view_of(Watch(Job(Band(80.0, 90.0)))), stopped_by))
    assert (heard.finish_s == sound.LAST_TONE_S) is waits
