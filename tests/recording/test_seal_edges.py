"""The seal at its limits: clocks, the end of a sealed PDF, the shop's log, a half signature."""

import stat
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.recording.invented import record
from tests.recording.test_when import readings, recorded
from warmwatch.errors import RecordingError
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.seal.checkpoint import Checkpoint
from warmwatch.recording.seal.clock import Clock, early_s, seconds, signing_remarks
from warmwatch.recording.seal.key import make_key, sign_recording
from warmwatch.recording.seal.pdf import PLACEHOLDER, check_pdf, seal_pdf, sealed_part
from warmwatch.recording.seal.raw_bytes import RawBytes
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.shop_log import NAME, append, log_path, read_log, signature_of
from warmwatch.recording.seal.signature import fingerprint, signature_path
from warmwatch.recording.seal.verify import verify_recording

TIME = "2026-06-02T03:04:05Z"
AT_S = 1780369445.0
"""TIME in seconds since 1970, by `date -u -d 2026-06-02T03:04:05Z +%s`."""


def test_a_time_is_read_with_its_zone_alone() -> None:
    """ISO 8601: Z and an offset are a zone; a time without one, or no time, is none."""
    assert seconds(TIME) == seconds("2026-06-02T05:04:05+02:00") == AT_S
    assert seconds("2026-06-02T03:04:05") is None
    assert seconds("yesterday") is None


@pytest.mark.parametrize(
    ("ended_s", "early", "told"),
    [
        (AT_S - 60.0, 0.0, False),
        (AT_S + 2.0, 2.0, False),
        (AT_S + 2.5, 2.5, True),
        (AT_S + 3600.0, 3600.0, True),
        (None, 0.0, False),
    ],
)
def test_a_signature_dated_before_its_recordings_end_is_told(
    ended_s: float | None, early: float, told: bool
) -> None:
    """Two seconds are the clock's own (ours); what cannot be read is told as such."""
    assert early_s(ended_s, TIME) == early
    assert bool(signing_remarks(ended_s, TIME)) is told
    if early == 3600.0:
        assert "1.0 h BEFORE" in signing_remarks(ended_s, TIME)[0]
    assert "cannot be read" in signing_remarks(ended_s, "yesterday")[0]
    assert early_s(ended_s, "yesterday") == 0.0


def test_a_clock_that_ran_back_is_told_three_times_and_counted() -> None:
    """By more than two seconds; the row and by how much. Rows without a time tell nothing."""
    clock = Clock()
    for number, utc_s in enumerate((100.0, 98.0, None, 100.0, 97.9, 95.8, 90.0, 80.0, 70.0)):
        clock.row(number, utc_s)
    assert clock.remarks == (
        "the computer's clock ran back by 2 s at row 4",
        "the computer's clock ran back by 2 s at row 5",
        "the computer's clock ran back by 6 s at row 6",
        "and 2 times more",
    )
    three = Clock()
    for number, utc_s in enumerate((100.0, 90.0, 80.0, 70.0)):
        three.row(number, utc_s)
    assert len(three.remarks) == 3
    assert "more" not in three.remarks[-1]
    assert Clock().remarks == ()


def test_a_computer_a_day_behind_does_not_sign(tmp_path: Path) -> None:
    """A day is still signed (and told by verify); longer, nobody's clock is right."""
    path, key = recorded(tmp_path, readings()), make_key(tmp_path / "key.pem", "invented shop")
    ended_s = verify_recording(path).ended_s
    assert ended_s is not None
    ended = datetime.fromtimestamp(ended_s, UTC)
    behind = ended - timedelta(days=1, milliseconds=1)
    with pytest.raises(RecordingError, match="Set the clock"):
        sign_recording(path, key, behind.isoformat())
    assert sign_recording(path, key, (ended - timedelta(days=1)).isoformat()).exists()


@pytest.mark.parametrize("raw", ["", "7E9", "7E9 62F405", "7E9 62F4057B", "7E9 7F2231", "x y"])
def test_bytes_too_short_for_their_rule_are_not_compared(raw: str) -> None:
    """A refusal (ISO 14229-1, 7F), half an answer or no hex at all says no temperature."""
    rule = {
        "name": "fluid_c", "service": 0x22, "identifier": 0xF405, "first_byte": 0,
        "length": 2, "signed": False, "scale": 1.0, "offset": -40.0, "unit": "C",
    }  # fmt: skip
    read = RawBytes({"warmwatch:link": {"signals": [rule]}})
    assert bool(read.differs(83.0, raw)) is (raw == "")  # none at all is told
    assert (read.seen, read.held) == (1, 0)


def test_a_long_name_of_a_shop_is_cut_to_a_line(tmp_path: Path) -> None:
    """Eighty letters stand beside each signature (ours), and line breaks are spaces."""
    key = make_key(tmp_path / "key.pem", " a\nb " + "c" * 100)
    assert key.name == "a b " + "c" * 76


def test_a_fingerprint_is_the_first_sixteen_digits_in_fours() -> None:
    """Of SHA-256; FIPS 180-2 gives that of "abc" (appendix B.1), and that of nothing is known."""
    assert fingerprint(b"abc") == "ba78-16bf-8f01-cfea"
    assert fingerprint(b"") == "e3b0-c442-98fc-1c14"


def test_what_a_checkpoint_signs_is_the_same_whatever_the_order_of_its_members() -> None:
    """JSON with sorted names and no spaces (as in RFC 8785): other versions sign it alike."""
    point = Checkpoint("a.csv", 5, "00", TIME, key="a2V5", key_name="invented")
    assert point.message == (
        b'{"digest":"00","format":"warmwatch checkpoint 1","key":"a2V5","key_name":"invented",'
        b'"recording":"a.csv","rows":5,"time":"2026-06-02T03:04:05Z"}'
    )


@pytest.mark.parametrize(
    ("service", "identifier", "raw"),
    [
        (0x01, 0x05, "7E8 41057B"),  # SAE J1979: A-40
        (0x21, 0x30, "7E9 61307B"),  # ISO 14230-3: one byte of local identifier
        (0x22, 0xF405, "7E9 62F4057B"),  # ISO 14229-1: two bytes of identifier
    ],
)
def test_the_bytes_of_each_service_are_read_again(service: int, identifier: int, raw: str) -> None:
    """7B hex is 83 degrees by A-40; another figure in the row is told with both."""
    rule = {
        "name": "fluid_c", "service": service, "identifier": identifier, "first_byte": 0,
        "length": 1, "signed": False, "scale": 1.0, "offset": -40.0, "unit": "C",
    }  # fmt: skip
    read = RawBytes({"warmwatch:link": {"signals": [rule]}})
    assert read.differs(83.0, raw) == ""
    assert read.differs(84.0, raw) == "its bytes say 83 °C, but the row says 84 °C"
    assert (read.seen, read.held) == (2, 2)


def test_a_sidecar_that_is_missing_or_changed_is_told_at_the_row_that_names_it(
    tmp_path: Path,
) -> None:
    """Row 2, the opening row below the header: there the sidecar's digest stands."""
    path = record(tmp_path)
    sidecar = sidecar_path(path)
    sidecar.write_bytes(sidecar.read_bytes() + b" ")
    assert (verify_recording(path).state, verify_recording(path).row) == (SealState.CHANGED, 2)
    sidecar.unlink()
    assert verify_recording(path).row == 2


PDF = b"%PDF-1.7 " + PLACEHOLDER.encode() + b" %%EOF"


@pytest.mark.parametrize("end", [b"", b"\n"])
@pytest.mark.parametrize("before", [0, 1, 3])
def test_the_sealed_part_ends_where_a_signature_was_appended(end: bytes, before: int) -> None:
    """A PDF signature is an update behind the mark %%EOF (ISO 32000-1, 7.5.6), with or without a
    line's end; marks inside the sealed part, up to three, do not end it.
    """
    sealed = seal_pdf(b"%%EOF " * before + PDF + end, None)
    assert sealed_part(sealed) == sealed
    assert sealed_part(sealed + b" 1 0 obj update startxref %%EOF\n") == sealed
    assert check_pdf(sealed_part(sealed + b" update %%EOF")).intact


def test_what_was_never_sealed_has_no_sealed_part() -> None:
    """Without any mark, or with none that ends a seal, it is all of the file."""
    for data in (b"", b"no PDF", PDF, b"%%EOF" * 50):
        assert sealed_part(data) == data
        seal = check_pdf(data)
        assert (seal.found, seal.intact) == (data == PDF, False)
    with pytest.raises(ValueError, match="no place"):
        seal_pdf(b"%PDF-1.7 %%EOF", None)


@pytest.mark.parametrize(("times", "intact"), [(1, True), (4, True), (5, False)])
def test_a_seal_stands_in_a_page_four_times_at_most(times: int, intact: bool) -> None:
    """In the document's keywords and their copies for archives (ours); more is no seal."""
    sealed = seal_pdf(b"%PDF-1.7 " + PLACEHOLDER.encode() * times + b" %%EOF", None)
    assert check_pdf(sealed).intact is intact


def test_the_log_lies_beside_the_key_and_others_may_only_read_it(tmp_path: Path) -> None:
    """One line a signed recording, whoever signs it again."""
    key = make_key(tmp_path / "key.pem", "invented shop")
    path, log = record(tmp_path / "shop"), log_path(tmp_path / "key.pem")
    assert log == tmp_path / NAME
    assert read_log(log) == []
    sign_recording(path, key, TIME)
    signature = signature_of(path)
    assert signature is not None
    append(log, signature)
    append(log, signature)
    assert len(read_log(log)) == 1
    if sys.platform != "win32":
        assert stat.S_IMODE(log.stat().st_mode) & 0o133 == 0
    with pytest.raises(RecordingError, match="Cannot read the log"):
        read_log(tmp_path)
    with pytest.raises(RecordingError, match="Cannot read the log"):
        append(tmp_path, signature)
    with pytest.raises(RecordingError, match="cannot be written"):
        append(tmp_path / "none" / NAME, signature)


def test_a_signature_that_cannot_be_written_leaves_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither a half one, which would make the recording look changed, nor another error."""
    path, key = record(tmp_path), make_key(tmp_path / "key.pem", "invented shop")

    def full(half: str) -> None:
        def write(self: Path, *_: object, **__: object) -> int:
            if half:
                self.write_bytes(half.encode())
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(Path, "write_text", write)
        with pytest.raises(RecordingError, match=r"cannot be written \(No space left"):
            sign_recording(path, key, TIME)
        monkeypatch.undo()
        assert not signature_path(path).exists()

    full("")
    full('{"half')
    assert sign_recording(path, key, TIME).exists()
