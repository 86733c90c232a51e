"""The tones: what each one means, its pulses, and its samples.

How they are made follows what the standards for signals in noise agree on (the list stands in
docs/signals-heard.md): fundamentals of 500 to 750 Hz with four harmonics above them, all below
4000 Hz, most of the energy below 1500 Hz, short pulses in groups, more pulses for more urgency,
soft edges. No two tones share a rhythm, so they are told apart even by someone who hears no pitch.
"""

import math
import wave
from array import array
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

SAMPLE_RATE_HZ = 44100
EDGE_S = 0.012
"""How long a pulse takes to swell and to fade: a hard edge would click."""

LEAD_S = 0.1
"""Silence before and after each tone: some sound devices swallow the first and last moments."""

# Steps of at least 20 % between neighbours (NUREG-0700 rev. 2, 1.3.11-17). The fifth harmonic of
# the highest is at 3700 Hz and the second at 1480 Hz.
PITCH_HZ: Mapping[str, float] = MappingProxyType({"low": 505.0, "middle": 610.0, "high": 740.0})

# Level of each harmonic beside the fundamental: within 10 dB of each other, falling, so that most
# of the energy is in the first two.
HARMONICS = (1.0, 0.9, 0.6, 0.5, 0.4)


@dataclass(frozen=True, slots=True)
class Pulse:
    """One sound of `pitch` (a name in PITCH_HZ) for `on_s`, then silence for `off_s`."""

    pitch: str
    on_s: float
    off_s: float


@dataclass(frozen=True, slots=True)
class Tone:
    """One tone, named for its event.

    `urgency` is 1 (news) to 5 (act now); `ends` names the tones that it makes untrue.
    """

    name: str
    meaning: str
    urgency: int
    pulses: tuple[Pulse, ...]
    ends: frozenset[str] = frozenset()

    @property
    def length_s(self) -> float:
        """Length in seconds with the silence around it."""
        return 2 * LEAD_S + sum(pulse.on_s + pulse.off_s for pulse in self.pulses)


SHORT_S, STEADY_S, LONG_S = 0.15, 0.3, 0.6
_GAP_S, _STEADY_GAP_S, _GROUP_GAP_S = 0.1, 0.2, 0.4
_PITCHES = {"l": "low", "m": "middle", "h": "high"}


def _pulses(score: str) -> tuple[Pulse, ...]:
    """Read a score: l, m, h are short pulses, doubled steady, tripled long; `/` parts groups."""
    lengths = {1: (SHORT_S, _GAP_S), 2: (STEADY_S, _STEADY_GAP_S), 3: (LONG_S, _GAP_S)}
    groups = []
    for group in score.split("/"):
        notes = [Pulse(_PITCHES[note[0]], *lengths[len(note)]) for note in group.split()]
        notes[-1] = Pulse(notes[-1].pitch, notes[-1].on_s, _GROUP_GAP_S)
        groups.append(notes)
    groups[-1][-1] = Pulse(groups[-1][-1].pitch, groups[-1][-1].on_s, 0.0)
    return tuple(pulse for group in groups for pulse in group)


def _tone(name: str, urgency: int, score: str, meaning: str, ends: Sequence[str] = ()) -> Tone:
    return Tone(name, meaning, urgency, _pulses(score), frozenset(ends))


TROUBLE = "trouble"
"""The one tone that is no event: for notices that must be heard, as when recording fails."""

_OUTSIDE = ("nearing", "levelling-off", "left-low", "left-high")
_INSIDE = ("entered", "entered-not-fit", "fit", "top-nearing", "bottom-nearing")

TONES: Mapping[str, Tone] = MappingProxyType(
    {
        tone.name: tone
        for tone in (
            _tone("seeing", 1, "mmm", "Readings have come back.", ["blind"]),
            _tone("rest-over", 1, "m mmm", "The rest after a hold is over."),
            _tone("nearing", 2, "l h", "The band is near: get ready to open the plug."),
            _tone(
                "levelling-off", 2, "mm mm", "The band may never be reached by heating like this."
            ),
            _tone("drain-entered", 2, "mmm m", "The fluid is warm enough to drain; it burns."),
            _tone("drain-left", 2, "lll lll", "The fluid has left the range for draining."),
            _tone("entered", 3, "l m hhh", "The fluid is in the band.", _OUTSIDE),
            _tone(
                "entered-not-fit",
                3,
                "m ll ll",
                "The fluid is in the band, but a condition of the check is not met.",
                _OUTSIDE,
            ),
            _tone("fit", 3, "ll l hhh", "In the band, and the check is no longer forbidden."),
            _tone("asked", 2, "h mm", "A mark does not fit: read or hear what is asked."),
            _tone("noted", 1, "mm mmm", "Your mark was understood, or the next step begins."),
            _tone("look-again", 2, "mm m", "Switch on and read again."),
            _tone("left-low", 3, "hhh m l", "The fluid has fallen out of the band.", _INSIDE),
            _tone("top-nearing", 4, "h h / h h", "The top of the band is near: finish the check."),
            _tone("bottom-nearing", 4, "l ll / l ll", "The bottom of the band is near: finish."),
            _tone(
                "left-high",
                4,
                "h m h / h m h",
                "The fluid is above the band: a level read now is not valid.",
                _INSIDE,
            ),
            _tone(
                "not-fit",
                4,
                "mmm mmm mmm mmm",
                "Plug out, but a condition of the check is not met.",
            ),
            _tone("plug-open", 4, "m m m mmm", "The plug is out and should be closed."),
            _tone(TROUBLE, 4, "ll ll / ll ll", "Something else is wrong: read the screen."),
            _tone("hold-limit", 5, "h h h h h l l l l l", "The hold has lasted its limit: end it."),
            _tone(
                "blind",
                5,
                "hh ll hh ll hh ll",
                "No reading can be trusted now: do not use earlier figures.",
                ("seeing", *_OUTSIDE, *_INSIDE),
            ),
            _tone("too-hot", 5, "h h h h / h h h h / h h h h", "The fluid is too hot."),
        )
    }
)


def picture(tone: Tone) -> str:
    """Return the pulses as plain text: _ low, - middle, ^ high; three alike are one long pulse."""
    shapes = {"low": "_", "middle": "-", "high": "^"}
    repeats = {SHORT_S: 1, STEADY_S: 2, LONG_S: 3}
    parts = []
    for pulse in tone.pulses:
        parts.append(shapes[pulse.pitch] * repeats[pulse.on_s])
        parts.append("   " if pulse.off_s == _GROUP_GAP_S else " ")
    return "".join(parts).rstrip()


@lru_cache(maxsize=32)
def _pulse_samples(pitch_hz: float, on_s: float) -> "array[int]":
    """Return one pulse as 16-bit samples, its peak at nine tenths of full scale."""
    count = round(on_s * SAMPLE_RATE_HZ)
    edge = round(EDGE_S * SAMPLE_RATE_HZ)
    step = 2.0 * math.pi * pitch_hz / SAMPLE_RATE_HZ
    # Phases that grow with the square of the harmonic's number keep the peaks from piling up, so
    # that the same full scale carries more sound (Schroeder 1970; from memory).
    parts = [
        (level, (k + 1) * step, -math.pi * k * (k + 1) / len(HARMONICS))
        for k, level in enumerate(HARMONICS)
    ]
    wave_form = [sum(a * math.sin(w * i + p) for a, w, p in parts) for i in range(count)]
    scale = 0.9 * 32767.0 / max(abs(value) for value in wave_form)
    return array("h", (round(v * scale * _swell(i, count, edge)) for i, v in enumerate(wave_form)))


def _swell(index: int, count: int, edge: int) -> float:
    """Return the level 0..1 at `index`: a raised cosine over `edge` samples at both ends."""
    nearest = min(index, count - 1 - index)
    return 1.0 if nearest >= edge else 0.5 - 0.5 * math.cos(math.pi * nearest / edge)


def samples(tone: Tone) -> "array[int]":
    """Return the tone as 16-bit samples, one channel, at SAMPLE_RATE_HZ."""
    sound = _silence(LEAD_S)
    for pulse in tone.pulses:
        sound.extend(_pulse_samples(PITCH_HZ[pulse.pitch], pulse.on_s))
        sound.extend(_silence(pulse.off_s))
    sound.extend(_silence(LEAD_S))
    return sound


def _silence(seconds: float) -> "array[int]":
    return array("h", bytes(2 * round(seconds * SAMPLE_RATE_HZ)))


def write_wav(tone: Tone, path: Path) -> None:
    """Write the tone to `path` as a WAV file; raises OSError when it cannot be written."""
    with path.open("wb") as file, wave.open(file, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(SAMPLE_RATE_HZ)
        out.writeframes(samples(tone).tobytes())  # `wave` sees to the byte order
