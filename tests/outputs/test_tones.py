"""The tones as written WAV files, judged by an independent Fourier transform (numpy).

Sources of the limits: ISO 7731 (500-2500 Hz, energy below 1500 Hz for reduced hearing, from memory;
annex D example with the octaves at 1000 and 2000 Hz, read), NUREG-0700 rev. 2 clauses 1.3.11-17
(20 % between tones), IEC 60601-1-8 (fundamental 150-1000 Hz, at least four harmonics in
300-4000 Hz, within 15 dB of each other; the latter from memory).
"""

import itertools
import wave
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from warmwatch.core.events import EventKind
from warmwatch.outputs.sound.tones import TONES, picture, write_wav

Sound = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Heard:
    """One pulse as found in the sound itself: samples, start and end in seconds."""

    sound: Sound
    start_s: float
    end_s: float


def read(path: Path) -> tuple[Sound, int]:
    with wave.open(str(path), "rb") as file:
        assert (file.getnchannels(), file.getsampwidth()) == (1, 2)
        data = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
        return data.astype(np.float64) / 32768.0, file.getframerate()


@pytest.fixture(scope="module")
def sounds(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Sound, int]]:
    folder = tmp_path_factory.mktemp("wav")
    for tone in TONES.values():
        write_wav(tone, folder / f"{tone.name}.wav")
    return {name: read(folder / f"{name}.wav") for name in TONES}


def pulses_in(sound: Sound, rate_hz: int) -> list[Heard]:
    """Part a sound at its silences of 20 ms and more, with no knowledge of how it was made."""
    loud = np.flatnonzero(np.abs(sound) > 0.001)
    breaks = np.flatnonzero(np.diff(loud) > 0.02 * rate_hz)
    starts = loud[np.r_[0, breaks + 1]]
    ends = loud[np.r_[breaks, len(loud) - 1]]
    return [
        Heard(sound[a : b + 1], a / rate_hz, b / rate_hz) for a, b in zip(starts, ends, strict=True)
    ]


def spectrum(sound: Sound, rate_hz: int) -> tuple[Sound, Sound]:
    """Return frequencies in Hz and power."""
    size = 1 << 17
    power: Sound = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), size)) ** 2
    return np.fft.rfftfreq(size, 1.0 / rate_hz).astype(np.float64), power


def peaks_hz(sound: Sound, rate_hz: int, below_strongest_db: float) -> list[float]:
    """Return the frequencies of the spectral peaks at most so far below the strongest."""
    hz, power = spectrum(sound, rate_hz)
    floor = power.max() / 10 ** (below_strongest_db / 10)
    top = (power[1:-1] > power[:-2]) & (power[1:-1] >= power[2:]) & (power[1:-1] > floor)
    return [float(hz[i + 1]) for i in np.flatnonzero(top)]


def share(sound: Sound, rate_hz: int, low_hz: float, high_hz: float) -> float:
    hz, power = spectrum(sound, rate_hz)
    return float(power[(hz >= low_hz) & (hz < high_hz)].sum() / power.sum())


def all_pulses(sounds: dict[str, tuple[Sound, int]]) -> list[tuple[Heard, int]]:
    return [(pulse, rate) for sound, rate in sounds.values() for pulse in pulses_in(sound, rate)]


def test_fundamental_and_harmonics_lie_where_the_standards_want_them(
    sounds: dict[str, tuple[Sound, int]],
) -> None:
    """Each pulse has a fundamental of 500-1000 Hz and four harmonics up to 4000 Hz within 15 dB."""
    for pulse, rate in all_pulses(sounds):
        found = peaks_hz(pulse.sound, rate, 15.0)
        assert 500.0 <= found[0] <= 1000.0
        assert [round(f / found[0], 1) for f in found] == [1.0, 2.0, 3.0, 4.0, 5.0]
        assert all(300.0 <= f <= 4000.0 for f in found)


@pytest.mark.slow
def test_energy_lies_where_engine_noise_and_reduced_hearing_leave_room(
    sounds: dict[str, tuple[Sound, int]],
) -> None:
    """Most energy is below 1500 Hz and in 500-2500 Hz, and two octaves carry a tenth or more."""
    for pulse, rate in all_pulses(sounds):
        assert share(pulse.sound, rate, 0, 1500) > 0.5
        assert share(pulse.sound, rate, 500, 2500) > 0.75
        assert share(pulse.sound, rate, 707, 1414) > 0.1
        assert share(pulse.sound, rate, 1414, 2828) > 0.1


def test_pitches_lie_well_apart(sounds: dict[str, tuple[Sound, int]]) -> None:
    """Any two different fundamentals differ by at least 20 %."""
    found = sorted(peaks_hz(p.sound, rate, 15.0)[0] for p, rate in all_pulses(sounds))
    ratios = [b / a for a, b in itertools.pairwise(found)]
    assert [r for r in ratios if 1.01 < r < 1.2] == []
    assert sum(r >= 1.2 for r in ratios) == 2


def rhythm(sound: Sound, rate_hz: int) -> tuple[int, ...]:
    """Return lengths of pulses and pauses in steps of 50 ms: what is left without any pitch."""
    pulses = pulses_in(sound, rate_hz)
    edges = [edge for pulse in pulses for edge in (pulse.start_s, pulse.end_s)]
    return tuple(round((b - a) / 0.05) for a, b in itertools.pairwise(edges))


def test_no_two_tones_share_a_rhythm(sounds: dict[str, tuple[Sound, int]]) -> None:
    """Tones are told apart by pulses and pauses alone: 50 ms or more differ somewhere."""
    rhythms = [rhythm(sound, rate) for sound, rate in sounds.values()]
    assert len(set(rhythms)) == len(rhythms)


def test_rising_and_falling_mean_in_and_out(sounds: dict[str, tuple[Sound, int]]) -> None:
    """`nearing` and `entered` rise from pulse to pulse and `left-low` falls."""

    def pitches(name: str) -> list[float]:
        sound, rate = sounds[name]
        return [peaks_hz(pulse.sound, rate, 15.0)[0] for pulse in pulses_in(sound, rate)]

    assert pitches("nearing")[0] < pitches("nearing")[-1]
    assert pitches("entered") == sorted(pitches("entered"))
    assert pitches("left-low") == sorted(pitches("left-low"), reverse=True)
    assert pitches("entered")[0] < pitches("entered")[-1]
    assert pitches("left-low")[0] > pitches("left-low")[-1]


def test_more_pulses_mean_more_urgency(sounds: dict[str, tuple[Sound, int]]) -> None:
    """No tone has more pulses than a more urgent one."""
    counts = {name: len(pulses_in(*sounds[name])) for name in TONES}
    for a, b in itertools.permutations(TONES.values(), 2):
        if a.urgency < b.urgency:
            assert counts[a.name] <= counts[b.name], (a.name, b.name)


def test_pulses_come_at_most_four_times_a_second(sounds: dict[str, tuple[Sound, int]]) -> None:
    """Pulses start 0.25 s apart or more (ISO 7731: 0.5 to 4 Hz, from memory)."""
    for sound, rate in sounds.values():
        starts = [pulse.start_s for pulse in pulses_in(sound, rate)]
        assert all(b - a >= 0.245 for a, b in itertools.pairwise(starts))


def splatter_db(sound: Sound, rate_hz: int) -> float:
    """Return the loudest energy above 6 kHz in any 10 ms, against the loudest 10 ms of all."""
    step = rate_hz // 100
    frames = np.lib.stride_tricks.sliding_window_view(np.pad(sound, step), step)[:: step // 4]
    power = np.abs(np.fft.rfft(frames * np.hanning(step), axis=1)) ** 2
    high = power[:, np.fft.rfftfreq(step, 1.0 / rate_hz) > 6000.0].sum(axis=1)
    return float(10 * np.log10(high.max() / power.sum(axis=1).max()))


def test_pulses_do_not_click(sounds: dict[str, tuple[Sound, int]]) -> None:
    """Nothing audible lies above 6 kHz at the edges, though a hard edge there would show."""
    for sound, rate in sounds.values():
        assert splatter_db(sound, rate) < -60.0
        pulse = pulses_in(sound, rate)[0].sound
        assert splatter_db(pulse[len(pulse) // 3 : 2 * len(pulse) // 3], rate) > -45.0


def test_pulses_swell_and_fade_softly(sounds: dict[str, tuple[Sound, int]]) -> None:
    """The first and last 3 ms of a pulse stay below a third of its peak (ours, no source)."""
    for pulse, rate in all_pulses(sounds):
        edge = round(0.003 * rate)
        peak = np.abs(pulse.sound).max()
        assert np.abs(pulse.sound[:edge]).max() < peak / 3
        assert np.abs(pulse.sound[-edge:]).max() < peak / 3


def test_samples_stay_inside_full_scale(sounds: dict[str, tuple[Sound, int]]) -> None:
    """Each tone uses most of the range and never clips."""
    for sound, _ in sounds.values():
        assert 0.8 < np.abs(sound).max() < 0.95


def test_length_is_told_truly(sounds: dict[str, tuple[Sound, int]]) -> None:
    """`length_s`, on which the guard's time limit rests, is the length of the file."""
    for name, (sound, rate) in sounds.items():
        assert TONES[name].length_s == pytest.approx(len(sound) / rate, abs=0.001)


def test_every_tone_is_an_event_and_says_what_it_means() -> None:
    """Every event has a tone but those that call for nothing, and each tone has a sentence."""
    kinds = {kind.value for kind in EventKind}
    assert set(TONES) - kinds == {"trouble", "entered-not-fit", "plug-open"}
    silent = {"doubtful", "hold-start", "hold-end"}
    assert kinds - set(TONES) == silent
    for tone in TONES.values():
        assert tone.meaning.endswith(".")
        assert tone.ends <= set(TONES)


def test_picture_shows_pitch_length_and_groups() -> None:
    """The picture is plain text: low, middle, high, three alike for a long pulse."""
    assert picture(TONES["entered"]) == "_ - ^^^"
    assert picture(TONES["top-nearing"]) == "^ ^   ^ ^"
    assert picture(TONES["blind"]) == "^^ __ ^^ __ ^^ __"


def test_in_the_band_and_above_it_differ_from_the_first_tenth_of_a_second(
    sounds: dict[str, tuple[Sound, int]],
) -> None:
    """`entered` begins low and `left-high` high: the spectra of their first 0.1 s share no peak."""
    firsts = []
    for name in ("entered", "left-high"):
        sound, rate = sounds[name]
        start = int(pulses_in(sound, rate)[0].start_s * rate)
        firsts.append((sound[start : start + rate // 10], rate))
    low, high = (peaks_hz(first, rate, 6.0)[0] for first, rate in firsts)
    assert high / low > 1.4
    (hz, one), (_, other) = (spectrum(first, rate) for first, rate in firsts)
    cosine = float((one * other).sum() / np.sqrt((one**2).sum() * (other**2).sum()))
    assert cosine < 0.1
    assert len(hz) > 0
