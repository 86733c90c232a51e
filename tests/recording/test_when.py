"""Temperatures against their raw bytes; signatures and clocks against time."""

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest

from tests.recording.invented import JOB, UTC_S, fold
from warmwatch.core.reading import Item, Reading
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.seal.key import make_key, sign_recording
from warmwatch.recording.seal.raw_bytes import RawBytes
from warmwatch.recording.seal.report import Report, SealState
from warmwatch.recording.seal.verify import verify_bytes, verify_recording
from warmwatch.recording.writer import create

SIGNAL = {
    "name": "fluid_c", "service": 0x22, "identifier": 0x2A17, "first_byte": 0, "length": 2,
    "signed": True, "scale": 0.1, "offset": -40.0, "unit": "C", "record_length": 2,
}  # fmt: skip
OTHER = {**SIGNAL, "name": "in_park", "identifier": 0x2A18, "length": 1, "record_length": 1}


def readings(count: int = 30) -> Iterable[Item]:
    """Yield readings whose bytes, with another record before theirs, give their temperature."""
    for t in range(count):
        fluid_c = 70.0 + t / 2
        number = round((fluid_c + 40.0) * 10)
        raw = f"7E9 622A18012A17{number:04X}"
        yield Reading(float(t), {"fluid_c": fluid_c}, raw=raw, utc_s=UTC_S + t)


def recorded(folder: Path, items: Iterable[Item]) -> Path:
    recorder = create(folder, JOB, "can:can0", {"signals": [SIGNAL, OTHER]}, UTC_S)
    watch, item = Watch(JOB), None
    for item in items:
        fold(recorder, watch, item)
    recorder.close(watch.snapshot().elapsed_s, None if item is None else item.utc_s, watch.verdict)
    return recorder.path


def raised(path: Path, by_c: float) -> Report:
    """Return what verify says when all readings are raised and the whole is made anew."""
    lifted = [
        replace(item, values={"fluid_c": item.values["fluid_c"] + by_c})
        for item in readings()
        if isinstance(item, Reading)
    ]
    forged = recorded(path.parent / "forged", lifted)
    sidecar = sidecar_path(forged).read_bytes()
    return verify_bytes(path.name, forged.read_bytes(), sidecar, None)


def test_readings_raised_over_their_bytes_are_found(tmp_path: Path) -> None:
    """By 2.5 to 38 degC, with everything else made anew: the bytes say another temperature."""
    path = recorded(tmp_path, readings())
    report = verify_recording(path)
    assert report.state is SealState.INTACT
    assert "30 of 30 temperatures are those that their raw bytes give" in report.remarks
    for by_c in (0.1, 2.5, 10.0, 38.0):
        found = raised(path, by_c)
        assert (found.state, found.row) == (SealState.CHANGED, 3)
        assert "its bytes say 70 °C" in found.reason


def test_bytes_taken_away_are_counted(tmp_path: Path) -> None:
    """Who leaves the bytes out is not called intact without a word: none is borne out."""
    bare = [replace(item, raw="") for item in readings() if isinstance(item, Reading)]
    report = verify_recording(recorded(tmp_path, bare))
    assert "0 of 30 temperatures are those that their raw bytes give" in report.remarks


def test_a_link_without_a_rule_says_so(tmp_path: Path) -> None:
    """A thermometer's text has no rule in the sidecar: told, and no count that looks like one."""
    recorder = create(tmp_path, JOB, "lines:-", {}, UTC_S)
    recorder.item(Reading(0.0, {"fluid_c": 50.0}, raw="50", utc_s=UTC_S))
    recorder.close(0.0, UTC_S)
    (remark,) = verify_recording(recorder.path).remarks
    assert "no rule" in remark


@pytest.mark.parametrize("raw", ["", "7E9", "7E9 zz", "7E9 7F2231", "7E9 622A18", "85.5"])
def test_bytes_that_the_rule_does_not_fit_are_not_compared(raw: str) -> None:
    """A refusal, half an answer or a text: nothing is said of it."""
    bytes_ = RawBytes({"warmwatch:link": {"signals": [SIGNAL, OTHER]}})
    assert bytes_.differs(85.0, raw) == ""
    assert (bytes_.seen, bytes_.held) == (1, 0)


def test_a_signature_before_the_recordings_end_is_refused_or_told(tmp_path: Path) -> None:
    """A clock of 2020 does not sign a recording of 2026; an hour before its end is told."""
    path = recorded(tmp_path, readings())
    key = make_key(tmp_path / "key.pem", "invented shop")
    with pytest.raises(RecordingError, match="Set the clock"):
        sign_recording(path, key, "2020-01-01T00:00:00Z")
    sign_recording(path, key, "2026-05-28T19:27:09Z")
    assert any("1.0 h BEFORE ITS OWN END" in text for text in verify_recording(path).remarks)


def test_a_clock_that_ran_back_is_told(tmp_path: Path) -> None:
    """Wall time an hour back in the middle: told with its row, and the recording is intact."""
    back = [
        replace(item, utc_s=(item.utc_s or 0.0) - 3600.0 * (item.elapsed_s > 10))
        for item in readings()
    ]
    report = verify_recording(recorded(tmp_path, back))
    assert report.state is SealState.INTACT
    assert "the computer's clock ran back by 3599 s at row 14" in report.remarks
