"""The output that sounds: which tone follows which event, and which of them insist."""

from typing import Protocol

from warmwatch.core.events import Event, EventKind
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName
from warmwatch.outputs.base import Entry, Summary
from warmwatch.outputs.sound.player import Words
from warmwatch.outputs.sound.tones import TROUBLE
from warmwatch.words.speech import sentence
from warmwatch.words.view import View

# How often a tone comes again until a mark shows that it was heard.
BLIND_S = 3.0
BLIND_REMINDER_S = 30.0
"""After a mark the loss of signal is still told so often: it must not be forgotten."""
TOO_HOT_S = 8.0
PLUG_OUT_S = 8.0
LAST_TONE_S = 5.0
"""At the end the last tone may take so long to be heard out."""

_MATTERS_WITH_PLUG_OUT = (
    EventKind.TOP_NEARING,
    EventKind.LEFT_HIGH,
    EventKind.LEFT_LOW,
    EventKind.NOT_FIT,
)


class Player(Protocol):
    """What the tone player offers; `audible` is false when nothing is left to be heard by."""

    @property
    def audible(self) -> bool: ...
    def play(self, event_kind: str, words: Words = str, every_s: float | None = None) -> None: ...
    def remind(self, event_kind: str, words: Words, every_s: float) -> None: ...
    def hush(self, *kinds: str) -> None: ...
    def close(self, finish_s: float = 0.0) -> None: ...


class Sound:
    """Passes events to a tone player.

    Loss of signal and too hot insist until a mark, and so do leaving the band (or being about to)
    and a condition that is not met, while the plug is out.
    """

    def __init__(self, player: Player) -> None:
        self._player = player
        self._view: View | None = None
        self._plug_out = False
        self._blind = False

    @property
    def audible(self) -> bool:
        """Whether the tones can be heard at all; when not, a screen has to say so."""
        return self._player.audible

    def take(self, entry: Entry) -> None:
        if isinstance(entry, Event):
            self._event(entry.kind)
        elif isinstance(entry, Mark):
            self._mark(entry.name)
        elif isinstance(entry, Notice) and entry.alarm:
            self._player.play(TROUBLE)

    def show(self, view: View) -> None:
        self._view = view

    def close(self, summary: Summary) -> None:
        asked_to_end = summary.stopped_by in ("interrupt", "key")
        self._player.close(finish_s=0.0 if asked_to_end else LAST_TONE_S)

    def _event(self, kind: EventKind) -> None:
        if kind in (EventKind.BLIND, EventKind.SEEING):
            self._blind = kind is EventKind.BLIND
        self._player.play(kind, self._words(kind), self._every_s(kind))

    def _words(self, kind: EventKind) -> Words:
        return lambda: sentence(kind, self._view)

    def _every_s(self, kind: EventKind) -> float | None:
        if kind is EventKind.BLIND:
            return BLIND_S
        if kind is EventKind.TOO_HOT:
            return TOO_HOT_S
        return PLUG_OUT_S if self._plug_out and kind in _MATTERS_WITH_PLUG_OUT else None

    def _mark(self, name: MarkName) -> None:
        if name is MarkName.PLUG_OUT:
            self._plug_out = True
        elif name in (MarkName.PLUG_IN, MarkName.LEVEL_SET):
            self._plug_out = False
        self._player.hush()
        if self._blind:
            blind = EventKind.BLIND
            self._player.remind(blind, self._words(blind), BLIND_REMINDER_S)
