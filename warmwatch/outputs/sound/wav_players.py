"""The system's own means to play a WAV file."""

import shutil
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Protocol

from warmwatch.outputs.sound.child import PlayOutcome, Wait, run_child

GRACE_S = 3.0
"""How much longer than the sound a player may take: wireless devices wake up slowly."""

# In this order, and what each needs before the file's name.
_LINUX = (("pw-play", ()), ("paplay", ()), ("aplay", ("-q",)))


class WavPlayer(Protocol):
    """Something that plays a WAV file."""

    @property
    def name(self) -> str:
        """What the mechanic may know it by."""

    def play(self, path: str, length_s: float, wait: Wait) -> PlayOutcome:
        """Play the file of `length_s` seconds to its end, or until `wait` says to cut it."""


@dataclass(frozen=True, slots=True)
class ChildPlayer:
    """A player program, run as a child process."""

    name: str
    argv: tuple[str, ...]

    def play(self, path: str, length_s: float, wait: Wait) -> PlayOutcome:
        """Play the file; a program that outlasts the sound by GRACE_S is killed."""
        return run_child((*self.argv, path), length_s + GRACE_S, wait)


@dataclass(frozen=True, slots=True)
class WindowsPlayer:
    """The sound call of Windows; it returns at once only by file name (python/cpython#99607)."""

    name: str = "Windows"

    def play(self, path: str, length_s: float, wait: Wait) -> PlayOutcome:
        """Play the file; the call returns at once and a second one stops the sound."""
        sound = import_module("winsound")
        try:
            flags = sound.SND_FILENAME | sound.SND_ASYNC | sound.SND_NODEFAULT
            sound.PlaySound(path, flags)
            cut = wait(length_s)
            sound.PlaySound(None, sound.SND_PURGE)
        except RuntimeError:
            return PlayOutcome.FAILED
        return PlayOutcome.CUT if cut else PlayOutcome.DONE


def find_wav_players(platform: str = sys.platform) -> tuple[WavPlayer, ...]:
    """Return the players present on this machine, the preferred one first; maybe none."""
    if platform == "win32":
        return (WindowsPlayer(),)
    known: Sequence[tuple[str, tuple[str, ...]]] = (
        (("afplay", ()),) if platform == "darwin" else _LINUX
    )
    found = ((name, shutil.which(name), options) for name, options in known)
    return tuple(ChildPlayer(name, (path, *options)) for name, path, options in found if path)
