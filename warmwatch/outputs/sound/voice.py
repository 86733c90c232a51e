"""The system's own speaking voice."""

import shutil
import sys
import wave
from dataclasses import dataclass
from pathlib import Path

from warmwatch.outputs.sound.child import PlayOutcome, Wait, run_child
from warmwatch.outputs.sound.loudness import louden

LIMIT_S = 20.0
"""No sentence of ours takes longer; a voice that does is killed."""

WORDS_VARIABLE = "WARMWATCH_WORDS"
"""Windows only: its shell would take a sentence on its command line apart, so it reads it here."""

_WINDOWS_SCRIPT = (
    "Add-Type -AssemblyName System.Speech; "
    f"(New-Object System.Speech.Synthesis.SpeechSynthesizer).Speak($env:{WORDS_VARIABLE})"
)
_KNOWN: dict[str, tuple[tuple[str, ...], ...]] = {
    "darwin": (("say",),),
    "win32": (("powershell", "-NoProfile", "-NonInteractive", "-Command", _WINDOWS_SCRIPT),),
}
_OTHERS = (("espeak-ng", "-v", "en", "-s", "150"), ("spd-say", "--wait", "--language", "en"))


@dataclass(frozen=True, slots=True)
class Voice:
    """A speaking program, run as a child process; it gets the words as its last argument.

    With `to_file` it writes a WAV file of that option first, which is made as loud as the tones.
    """

    name: str
    argv: tuple[str, ...]
    by_variable: bool = False
    to_file: str = ""

    def say(self, words: str, wait: Wait) -> PlayOutcome:
        """Speak `words` to the end, or until `wait` says to cut it."""
        if self.by_variable:
            return run_child(self.argv, LIMIT_S, wait, {WORDS_VARIABLE: words})
        return run_child((*self.argv, words), LIMIT_S, wait)

    def write(self, words: str, path: Path, wait: Wait) -> tuple[PlayOutcome, float]:
        """Write `words` as a loud WAV file; return how that went and its length in seconds.

        The length is zero where the program ended well but left no file that can be played.
        """
        done = run_child((*self.argv, self.to_file, str(path), words), LIMIT_S, wait)
        if done is not PlayOutcome.DONE:
            return done, 0.0
        try:
            return done, louden(path)
        except (OSError, EOFError, wave.Error):
            return done, 0.0


def find_voice(platform: str = sys.platform) -> Voice | None:
    """Return the voice of this machine, or None when it has none."""
    for name, *options in _KNOWN.get(platform, _OTHERS):
        path = shutil.which(name)
        if path:
            to_file = "-w" if name == "espeak-ng" else ""
            windows = platform == "win32"
            return Voice(name, (path, *options), by_variable=windows, to_file=to_file)
    return None
