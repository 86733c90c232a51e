"""What the phones must play: the same tones by the same rules as on the laptop."""

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

from warmwatch.outputs.sound.player import Words
from warmwatch.outputs.sound.tones import EDGE_S, HARMONICS, PITCH_HZ, TONES

KEPT_S = 6.0
"""A phone that was away for longer does not make up for a tone; what insists is told by repeats."""
ENDED = ("high", "middle", "low")
"""On the laptop the end is seen by who ended it; the phone lies elsewhere and is told by a tone."""


@dataclass(frozen=True, slots=True)
class _Cue:
    number: int
    tone: str
    words: Words
    at_s: float


class Cues:
    """A tone player whose tones are played elsewhere; `now_s` is brought by the caller."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self._number = 0
        self._cues: deque[_Cue] = deque(maxlen=8)
        self._repeats: Mapping[str, tuple[Words, float]] = {}

    @property
    def audible(self) -> bool:
        """Always: whether a phone sounds is for the phone to say."""
        return True

    def play(self, name: str, words: Words = str) -> None:
        if name in TONES:
            self._number += 1
            self._cues.append(_Cue(self._number, name, words, self.now_s))

    def insist(self, alarms: Mapping[str, tuple[Words, float]]) -> None:
        self._repeats = {name: alarm for name, alarm in alarms.items() if name in TONES}

    def close(self, finish_s: float = 0.0) -> None:
        self._repeats = {}

    def cues(self) -> list[dict[str, object]]:
        """Return the latest cues, each with its words as they are true now."""
        return [
            {"n": cue.number, "tone": cue.tone, "say": cue.words()}
            for cue in self._cues
            if self.now_s - cue.at_s <= KEPT_S
        ]

    def repeats(self) -> list[dict[str, object]]:
        """Return what must be repeated until somebody marks that it was heard."""
        return [
            {"tone": name, "every_s": every_s, "say": words()}
            for name, (words, every_s) in self._repeats.items()
        ]


def tone_table() -> dict[str, object]:
    """Return all tones as numbers, for a page that makes them itself."""
    tones = {
        name: {
            "urgency": tone.urgency,
            "pulses": [[PITCH_HZ[pulse.pitch], pulse.on_s, pulse.off_s] for pulse in tone.pulses],
        }
        for name, tone in TONES.items()
    }
    tones["ended"] = {"urgency": 1, "pulses": [[PITCH_HZ[pitch], 0.4, 0.1] for pitch in ENDED]}
    return {"tones": tones, "harmonics": list(HARMONICS), "edge_s": EDGE_S}
