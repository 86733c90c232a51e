"""The voice is as loud as the tones: root mean squares, measured by numpy."""

import math
import shutil
import subprocess
import wave
from array import array
from pathlib import Path

import numpy as np
import pytest

from warmwatch.outputs.sound.loudness import SILENT, louden
from warmwatch.outputs.sound.tones import TONES, write_wav

RATE_HZ = 22050


def rms(path: Path) -> float:
    """Return the root mean square of what is not silence, of full scale."""
    with wave.open(str(path), "rb") as file:
        data = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2") / 32768.0
    heard = data[np.abs(data) > SILENT]
    return float(np.sqrt(np.mean(heard**2)))


def write(path: Path, values: list[float]) -> None:
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        out.writeframes(array("h", (round(32767 * v) for v in values)).tobytes())


def tone_rms(folder: Path) -> list[float]:
    levels = []
    for tone in TONES.values():
        write_wav(tone, folder / "tone.wav")
        levels.append(rms(folder / "tone.wav"))
    return levels


def test_quiet_speech_with_peaks_is_made_as_loud_as_a_tone(tmp_path: Path) -> None:
    """Bursts with a high crest, as speech has, come within 3 dB of the tones; nothing is cut."""
    path = tmp_path / "words.wav"
    swell = [
        0.7 * math.exp(-((i % 4000) / 600.0)) * math.sin(i * 0.09) if i % 8000 < 6000 else 0.0
        for i in range(2 * RATE_HZ)
    ]
    write(path, swell)
    before = rms(path)
    assert louden(path) == pytest.approx(2.0)
    tones = tone_rms(tmp_path)
    assert before < min(tones) / 2
    assert min(tones) / 1.41 <= rms(path) <= max(tones) * 1.41


def test_silence_stays_silent(tmp_path: Path) -> None:
    """Nothing is amplified where nothing was said."""
    path = tmp_path / "words.wav"
    write(path, [0.0005] * 1000)
    louden(path)
    with wave.open(str(path), "rb") as file:
        assert max(abs(v) for v in array("h", file.readframes(1000))) < 100


@pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="this machine has no such voice")
def test_a_real_voice_is_as_loud_as_the_tones(tmp_path: Path) -> None:
    """What the system's voice writes comes within 3 dB of the tones."""
    path = tmp_path / "words.wav"
    words = "In the band, eighty-five degrees, about eight minutes left."
    subprocess.run(["espeak-ng", "-v", "en", "-s", "150", "-w", str(path), words], check=True)
    louden(path)
    tones = tone_rms(tmp_path)
    assert min(tones) / 1.41 <= rms(path) <= max(tones) * 1.41
