"""Temperatures against their raw bytes; signatures and clocks against time."""

import random
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest

from tests.recording.invented import JOB, UTC_S, fold
from warmwatch.core.reading import Item, Reading
from warmwatch.core.watch import Watch
from warmwatch.errors import RecordingError
from warmwatch.links.broadcast.database import DatabaseDecoder
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


def test_bytes_taken_away_are_found(tmp_path: Path) -> None:
    """A link that has a rule keeps the bytes with every temperature: none of them may be gone."""
    bare = [replace(item, raw="") for item in readings() if isinstance(item, Reading)]
    report = verify_recording(recorded(tmp_path, bare))
    assert (report.state, report.row) == (SealState.CHANGED, 3)
    assert "no raw bytes" in report.reason


def test_bytes_that_say_nothing_are_counted(tmp_path: Path) -> None:
    """Bytes by which nothing can be read bear nothing out, and that is said aloud."""
    spoilt = [replace(item, raw="7E9 7F2231") for item in readings() if isinstance(item, Reading)]
    (remark,) = verify_recording(recorded(tmp_path, spoilt)).remarks
    assert "0 of 30" in remark
    assert "NOTHING CONFIRMS THE OTHER 30" in remark


def test_a_link_without_a_rule_says_so(tmp_path: Path) -> None:
    """A thermometer's text has no rule in the sidecar: told, and no count that looks like one."""
    recorder = create(tmp_path, JOB, "lines:-", {}, UTC_S)
    recorder.item(Reading(0.0, {"fluid_c": 50.0}, raw="50", utc_s=UTC_S))
    recorder.close(0.0, UTC_S)
    (remark,) = verify_recording(recorder.path).remarks
    assert "no rule" in remark


@pytest.mark.parametrize("raw", ["7E9", "7E9 zz", "7E9 7F2231", "7E9 622A18", "85.5"])
def test_bytes_that_the_rule_does_not_fit_are_not_compared(raw: str) -> None:
    """A refusal, half an answer or a text: nothing is said of it."""
    bytes_ = RawBytes({"warmwatch:link": {"signals": [SIGNAL, OTHER]}})
    assert bytes_.differs(85.0, raw) == ""
    assert (bytes_.seen, bytes_.held) == (1, 0)


# SPN 177 as in tests/signals/j1939 rows: 602D hex, little-endian, is 11616, less 273 / 0.03125.
J1939 = {
    "name": "fluid_c", "spn": 177, "pgn": 65272, "byte": 5, "bits": 16, "first_bit": 1,
    "scale": 0.03125, "offset": -273.0,
}  # fmt: skip
TEXT = {"name": "fluid_c", "text": "number", "unit": "F", "decimal": "comma"}


@pytest.mark.parametrize(
    ("signal", "raw", "fluid_c"),
    [
        (J1939, "18FEF803 19C80532602D7F02", 90.0),
        (TEXT, "194", 90.0),
        (TEXT, "194,0 F", 90.0),
        (TEXT, "90 °C", 90.0),
        (TEXT, "engine_rpm=700 fluid_c=90.0", 90.0),
        (SIGNAL, "7E8 622A180000 7E9 622A170514", 90.0),
    ],
)
def test_broadcasts_and_text_are_held_against_what_came(
    signal: dict[str, object], raw: str, fluid_c: float
) -> None:
    """A frame, a line and the second of two answers give their temperature, and no other."""
    bytes_ = RawBytes({"warmwatch:link": {"signals": [signal]}})
    assert bytes_.differs(fluid_c, raw) == ""
    assert bytes_.held == 1
    assert "its bytes say 90 °C" in bytes_.differs(fluid_c + 2.5, raw)
    assert "no raw bytes" in bytes_.differs(fluid_c, "")


DATABASE = """
VERSION ""
BU_: A
BO_ 291 Gear: 8 A
 SG_ Little : 3|12@1- (0.125,-20) [0|0] "degC" A
 SG_ Big : 38|13@0+ (0.05,-40) [0|0] "F" A
"""


@pytest.mark.parametrize("name", ["Little", "Big"])
def test_a_database_files_frames_are_held_against_their_rule(name: str, tmp_path: Path) -> None:
    """What cantools decodes, in either order of bits, is what the recorded rule gives."""
    path = tmp_path / "gear.dbc"
    path.write_text(DATABASE, encoding="utf-8")
    decoder = DatabaseDecoder(str(path), {"fluid_c": f"Gear.{name}"})
    bytes_ = RawBytes({"warmwatch:link": {"signals": list(decoder.facts())}})
    dice = random.Random(1)
    for _ in range(200):
        (said,) = decoder.hear(291, False, dice.randbytes(8), 0.0)
        assert said.decoded.value is not None
        assert bytes_.differs(said.decoded.value, said.raw) == ""
        assert bytes_.differs(said.decoded.value + 1.0, said.raw) != ""
    assert bytes_.held == 400


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
