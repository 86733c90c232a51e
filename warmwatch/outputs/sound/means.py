"""The means by which tones are heard: the system's players, else the bell of the terminal."""

import shutil
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from warmwatch.outputs.sound.child import PlayOutcome, Wait
from warmwatch.outputs.sound.tone_folder import make_tone_folder
from warmwatch.outputs.sound.tones import Tone, write_wav
from warmwatch.outputs.sound.voice import Voice
from warmwatch.outputs.sound.wav_players import WavPlayer, find_wav_players

FAILURES_MOST = 3
"""So often may a player fail (the device may be busy); one that hangs is given up at once."""

BELL_GAP_S = 0.25
BELL_MOST = 5
Bell = Callable[[], None]
Notice = Callable[[str], None]


def terminal_bell() -> Bell | None:
    """Return what rings the bell of the terminal at standard error, None when there is none."""
    stream = sys.stderr
    if stream is None or not stream.isatty():
        return None

    def ring() -> None:
        stream.write("\a")
        stream.flush()

    return ring


class ToneMeans:
    """Lets one tone be heard by the first means that works, and tells when one does not.

    Used by one thread, except for `describe` and `audible`.
    """

    def __init__(self, bell: Bell | None, tell: Notice) -> None:
        self._bell = bell or terminal_bell()
        self._tell = tell
        self._players: tuple[WavPlayer, ...] = find_wav_players()
        self._unheard = False
        self._failures: Counter[str] = Counter()
        self._folder: Path | None = None
        self._written: set[str] = set()

    @property
    def audible(self) -> bool:
        """Whether the last tone had a means to be heard, or before the first one, is there any."""
        return not self._unheard and (bool(self._players) or self._bell is not None)

    def describe(self) -> str:
        """Return one sentence: how the tones will be heard."""
        players = self._players
        if players:
            return f"Tones are played by {players[0].name}: try the volume before you start."
        if self._bell is not None:
            return "No sound player works here, only the terminal bell will ring: watch the screen."
        return "NO SOUND: neither a sound player nor a terminal bell works here: watch the screen."

    def sound(self, tone: Tone, wait: Wait) -> None:
        """Play `tone` to its end or until `wait` cuts it; ring the bell when no player works."""
        self._unheard = not self._play(tone, wait) and not self._ring(tone, wait)

    def speak(self, voice: Voice, words: str, wait: Wait) -> PlayOutcome:
        """Speak `words`, as loud as the tones where a player can play what the voice writes."""
        if not (voice.to_file and self._players):
            return voice.say(words, wait)
        try:
            path = self._tone_folder() / "words.wav"
        except OSError:
            return voice.say(words, wait)
        written, length_s = voice.write(words, path, wait)
        if written is not PlayOutcome.DONE:
            return written
        if not length_s:
            return voice.say(words, wait)
        outcome = self._players[0].play(str(path), length_s, wait)
        return voice.say(words, wait) if outcome is PlayOutcome.FAILED else outcome

    def clean_up(self) -> None:
        """Remove the tones' files."""
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)

    def _play(self, tone: Tone, wait: Wait) -> bool:
        for player in self._players:
            try:
                path = self._file(tone)
            except OSError as error:
                self._players = ()
                self._tell(f"The tones cannot be written ({error}). {self.describe()}")
                return False
            outcome = player.play(str(path), tone.length_s, wait)
            if outcome in (PlayOutcome.DONE, PlayOutcome.CUT):
                return True
            self._count_failure(player, outcome)
        return False

    def _count_failure(self, player: WavPlayer, outcome: PlayOutcome) -> None:
        self._failures[player.name] += 1
        if outcome is PlayOutcome.FAILED and self._failures[player.name] < FAILURES_MOST:
            self._tell(f"The sound player {player.name} failed just now.")
            return
        self._players = tuple(each for each in self._players if each is not player)
        self._tell(f"The sound player {player.name} does not work. {self.describe()}")

    def _file(self, tone: Tone) -> Path:
        """Return the tone's file, written the first time; raises OSError."""
        path = self._tone_folder() / f"{tone.name}.wav"
        if tone.name not in self._written:
            write_wav(tone, path)
            self._written.add(tone.name)
        return path

    def _tone_folder(self) -> Path:
        if self._folder is None:
            self._folder = make_tone_folder()
        return self._folder

    def _ring(self, tone: Tone, wait: Wait) -> bool:
        """Ring once for each pulse, as far as rings can be counted; False when nothing rang."""
        for _ in tone.pulses[:BELL_MOST]:
            if self._bell is None:
                return False
            try:
                self._bell()
            except (OSError, ValueError):  # the terminal was closed
                self._bell = None
                self._tell(self.describe())
                return False
            if wait(BELL_GAP_S):
                break
        return True
