"""The system's own speaking voice."""

import shutil
import sys
from dataclasses import dataclass

from warmwatch.outputs.sound.child import Outcome, Wait, run_child

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
    """A speaking program, run as a child process; it gets the words as its last argument."""

    name: str
    argv: tuple[str, ...]
    by_variable: bool = False

    def say(self, words: str, wait: Wait) -> Outcome:
        """Speak `words` to the end, or until `wait` says to cut it."""
        if self.by_variable:
            return run_child(self.argv, LIMIT_S, wait, {WORDS_VARIABLE: words})
        return run_child((*self.argv, words), LIMIT_S, wait)


def find_voice(platform: str = sys.platform) -> Voice | None:
    """Return the voice of this machine, or None when it has none."""
    for name, *options in _KNOWN.get(platform, _OTHERS):
        path = shutil.which(name)
        if path:
            return Voice(name, (path, *options), by_variable=platform == "win32")
    return None
