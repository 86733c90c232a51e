"""Makes a spoken sentence as loud as the tones.

A voice's peaks reach full scale long before it is as loud as a tone, so it is not only amplified:
what would go beyond is rounded off. Loudness is the root mean square of what is not silence.
"""

import math
import wave
from array import array
from pathlib import Path

TARGET_RMS = 0.45
"""Of full scale: that of the tones' pulses (measured, see the tests)."""
PEAK = 0.95
SILENT = 0.01
_EVERY = 7
_STEPS = 14
_MOST_GAIN = 64.0


def louden(path: Path) -> float:
    """Rewrite a 16-bit WAV file so that it is as loud as a tone; return its length in seconds.

    Raises OSError, or wave.Error when it is no such file.
    """
    with wave.open(str(path), "rb") as file:
        about, data = file.getparams(), file.readframes(file.getnframes())
    if about.sampwidth != 2:
        raise wave.Error("16-bit samples are needed")
    samples = array("h", data[: len(data) // 2 * 2])
    gain = _gain([value / 32768.0 for value in samples[::_EVERY]])
    table = {
        value: round(32767 * PEAK * math.tanh(gain * value / 32768.0)) for value in set(samples)
    }
    with wave.open(str(path), "wb") as out:
        out.setparams(about)
        out.writeframes(array("h", (table[value] for value in samples)).tobytes())
    return len(samples) / (about.framerate * about.nchannels)


def _gain(values: list[float]) -> float:
    """Return the amplification that gives TARGET_RMS after rounding off."""
    heard = [value for value in values if abs(value) > SILENT]
    low, high = 1.0, _MOST_GAIN
    for _ in range(_STEPS if heard else 0):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if _rms(heard, middle) < TARGET_RMS else (low, middle)
    return low


def _rms(values: list[float], gain: float) -> float:
    return math.sqrt(sum((PEAK * math.tanh(gain * v)) ** 2 for v in values) / len(values))
