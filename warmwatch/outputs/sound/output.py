"""The output that sounds: which tone follows which event; what insists is the core's to say."""

from collections.abc import Mapping
from functools import partial
from typing import Protocol

from warmwatch.core.alarm import AlarmCode
from warmwatch.core.events import Event, EventKind
from warmwatch.core.notice import Notice
from warmwatch.outputs.base import Entry, StepChange, Summary
from warmwatch.outputs.sound.player import Words
from warmwatch.outputs.sound.tones import TROUBLE
from warmwatch.words.speech import NOT_FIT_ENTRY, alarm_sentence, sentence
from warmwatch.words.steps import step_words
from warmwatch.words.view import View

LAST_TONE_S = 5.0
"""At the end the last tone may take so long to be heard out."""


class Player(Protocol):
    """What the tone player offers; `audible` is false when nothing is left to be heard by."""

    @property
    def audible(self) -> bool: ...
    def play(self, name: str, words: Words = str) -> None: ...
    def insist(self, alarms: Mapping[str, tuple[Words, float]]) -> None: ...
    def close(self, finish_s: float = 0.0) -> None: ...


class Sound:
    """Passes events to a tone player, and what insists as long as it does."""

    def __init__(self, player: Player) -> None:
        self._player = player
        self._view: View | None = None

    @property
    def audible(self) -> bool:
        """Whether the tones can be heard at all; when not, a screen has to say so."""
        return self._player.audible

    def take(self, entry: Entry) -> None:
        if isinstance(entry, Event):
            self._player.play(
                tone_name(entry), lambda: sentence(tone_name(entry), self._view, entry.reasons)
            )
        elif isinstance(entry, StepChange) and entry.begins and entry.allowed:
            self._player.play(EventKind.NOTED, lambda: step_words(entry.step, self._view))
        elif isinstance(entry, Notice) and entry.alarm:
            self._player.play(TROUBLE)

    def show(self, view: View) -> None:
        self._view = view
        self._player.insist(
            {
                str(one.code): (partial(self._alarm_words, one.code), one.every_s)
                for one in view.snapshot.alarm.standing
                if one.every_s is not None
            }
        )

    def _alarm_words(self, code: AlarmCode) -> str:
        return alarm_sentence(code, self._view)

    def close(self, summary: Summary) -> None:
        asked_to_end = summary.stopped_by in ("interrupt", "key", "page")
        self._player.close(finish_s=0.0 if asked_to_end else LAST_TONE_S)


def tone_name(event: Event) -> str:
    """Return the name of an event's tone."""
    if event.kind is EventKind.ENTERED and event.fit is False:
        return NOT_FIT_ENTRY
    return str(event.kind)
