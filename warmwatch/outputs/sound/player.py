"""Plays tones and spoken words one at a time, without ever holding up the caller."""

import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace

from warmwatch.outputs.sound.child import PlayOutcome
from warmwatch.outputs.sound.means import Bell, Notice, ToneMeans
from warmwatch.outputs.sound.tones import TONES, Tone
from warmwatch.outputs.sound.voice import Voice

Words = Callable[[], str]
"""Asked when the tone has ended, so that what is said is true then; an empty text is not said."""


@dataclass(frozen=True, slots=True)
class _Cue:
    """What is to be heard, the tone first."""

    tone: Tone
    words: Words


@dataclass(frozen=True, slots=True)
class _Repeat:
    cue: _Cue
    every_s: float
    due_s: float


class TonePlayer:
    """Plays the tone of an event, one at a time, on a thread of its own.

    A newer cue of the same or higher urgency cuts the one being heard; a lesser one waits its
    turn, and of those that wait only the most urgent stays. What a cue makes untrue (`Tone.ends`)
    is dropped. A player that fails or hangs is given up for the next one, at last for the bell,
    and `notice` is called with a sentence that says so (from the player's thread).
    """

    def __init__(
        self,
        quiet: bool = False,
        bell: Bell | None = None,
        voice: Voice | None = None,
        notice: Notice | None = None,
    ) -> None:
        self._quiet = quiet
        self._voice = voice
        self._notice = notice
        self._means = ToneMeans(bell, self._tell)
        self._thread: threading.Thread | None = None
        self._changed = threading.Condition()
        self._current: _Cue | None = None
        self._waiting: _Cue | None = None
        self._repeats: dict[str, _Repeat] = {}
        self._cut = False
        self._closed = False

    def play(self, name: str, words: Words = str) -> None:
        """Let a tone be heard, then `words`; names without a tone are ignored.

        Never blocks and never raises.
        """
        tone = TONES.get(name)
        if self._quiet or tone is None:
            return
        cue = _Cue(tone, words)
        with self._changed:
            self._drop(tone.ends)
            if name in self._repeats:  # just heard
                self._repeat(cue, self._repeats[name].every_s)
            if self._current is not None and tone.urgency >= self._current.tone.urgency:
                self._cut = True
            if self._waiting is None or tone.urgency >= self._waiting.tone.urgency:
                self._waiting = cue
            self._wake()

    def insist(self, alarms: Mapping[str, tuple[Words, float]]) -> None:
        """Repeat these tones, each so many seconds after its end, and no others any more."""
        if self._quiet:
            return
        with self._changed:
            for name in self._repeats.keys() - alarms.keys():
                del self._repeats[name]
            for name, (words, every_s) in alarms.items():
                old = self._repeats.get(name)
                if name in TONES and (old is None or old.every_s != every_s):
                    self._repeat(_Cue(TONES[name], words), every_s)
                    self._wake()

    def describe(self) -> str:
        """Return one sentence for the opening lines: how the tones will be heard."""
        if self._quiet:
            return "Sound is off: watch the screen."
        return self._means.describe()

    @property
    def audible(self) -> bool:
        """Whether there is a means left to be heard."""
        return not self._quiet and self._means.audible

    def finish(self, limit_s: float) -> bool:
        """Wait until nothing is heard or waits; False when that took longer than `limit_s`."""
        with self._changed:
            return self._changed.wait_for(self._idle, limit_s)

    def close(self, finish_s: float = 0.0) -> None:
        """Stop; what is being heard or waits may first go on for up to `finish_s`."""
        self.insist({})
        self.finish(finish_s)
        with self._changed:
            self._closed = self._cut = True
            self._changed.notify_all()
        if self._thread is not None:
            self._thread.join(timeout=3.0)
        self._means.clean_up()

    def _idle(self) -> bool:
        return self._current is None and self._waiting is None

    def _drop(self, names: frozenset[str]) -> None:
        for name in names:
            self._repeats.pop(name, None)
        if self._waiting is not None and self._waiting.tone.name in names:
            self._waiting = None
        if self._current is not None and self._current.tone.name in names:
            self._cut = True

    def _repeat(self, cue: _Cue, every_s: float) -> None:
        due_s = time.monotonic() + every_s
        self._repeats[cue.tone.name] = _Repeat(cue, every_s, due_s)

    def _wake(self) -> None:
        """Let the thread look again; it is started the first time."""
        if self._closed:
            return
        if self._thread is None:
            thread = threading.Thread(target=self._work, name="tones", daemon=True)
            try:
                thread.start()
            except RuntimeError:
                self._waiting = None
                self._tell("NO SOUND: the computer could not start it: watch the screen.")
                return
            self._thread = thread
        self._changed.notify_all()

    # Everything below runs on the player's own thread.

    def _work(self) -> None:
        while (cue := self._next()) is not None:
            try:
                self._sound(cue)
            except Exception as error:  # a fault here must not silence the next tone
                self._tell(f"A tone could not be played ({error}).")
            self._done(cue)

    def _next(self) -> _Cue | None:
        with self._changed:
            while not self._closed:
                cue = self._waiting or self._overdue()
                if cue is not None:
                    self._current, self._waiting, self._cut = cue, None, False
                    return cue
                self._changed.wait(self._until_due_s())
            return None

    def _done(self, cue: _Cue) -> None:
        with self._changed:
            self._current = None
            repeat = self._repeats.get(cue.tone.name)
            if repeat is not None:
                due_s = time.monotonic() + repeat.every_s
                self._repeats[cue.tone.name] = replace(repeat, due_s=due_s)
            self._changed.notify_all()

    def _overdue(self) -> _Cue | None:
        now_s = time.monotonic()
        due = [repeat.cue for repeat in self._repeats.values() if repeat.due_s <= now_s]
        return max(due, key=lambda cue: cue.tone.urgency, default=None)

    def _until_due_s(self) -> float | None:
        soonest_s = min((r.due_s for r in self._repeats.values()), default=float("inf"))
        return None if soonest_s == float("inf") else max(0.0, soonest_s - time.monotonic())

    def _wait(self, seconds: float) -> bool:
        with self._changed:
            return self._changed.wait_for(lambda: self._cut, seconds)

    def _sound(self, cue: _Cue) -> None:
        self._means.sound(cue.tone, self._wait)
        voice = self._voice
        if voice is None or self._wait(0.0):
            return
        words = cue.words()
        if words and self._means.speak(voice, words, self._wait) in (
            PlayOutcome.FAILED,
            PlayOutcome.HUNG,
        ):
            self._voice = None
            self._tell(f"The voice {voice.name} does not work, so nothing more is spoken.")

    def _tell(self, text: str) -> None:
        if self._notice is not None:
            with suppress(Exception):  # whoever listens must not be able to end the sound
                self._notice(text)
