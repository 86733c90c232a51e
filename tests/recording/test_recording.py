"""Writing and reading back: typed columns, torn ends, full disks, taken names."""

import csv
import dataclasses
import errno
import hashlib
import json
import os
from pathlib import Path

import pandas as pd
import pytest

import warmwatch
from warmwatch.core.band import Band
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.reading import Mark, MarkName, Reading, Tick
from warmwatch.core.reason import Reason
from warmwatch.errors import RecordingError
from warmwatch.recording import disk, files
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.reader import RowReader, is_recording
from warmwatch.recording.rows import HEADER, cells_item
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording
from warmwatch.recording.sidecar import sidecar_job
from warmwatch.recording.writer import create

JOB = Job(Band(80.0, 90.0), vehicle="blue van / no plate", method="idle")
UTC_S = 1_780_000_000.0


def written(folder: Path, *, close: bool = True) -> Path:
    recorder = create(folder, JOB, "csv:x.csv", {"note": "invented"}, UTC_S)
    recorder.item(Reading(0.0, {"fluid_c": 79.5, "odd": 1.0}, raw="7E8 62F405", utc_s=UTC_S))
    recorder.item(Mark(1.0, MarkName.NOTE, "=1+1", UTC_S + 1))
    recorder.item(Tick(7.0, utc_s=UTC_S + 7))
    recorder.event(Event(7.0, EventKind.BLIND, 79.5, reasons=(Reason("silence"),)), UTC_S + 7)
    if close:
        recorder.close(7.0, UTC_S + 7)
    else:
        recorder.abandon()
    return recorder.path


def test_read_recording_gives_typed_columns(tmp_path: Path) -> None:
    """Times are UTC datetimes, numbers float64 with NaN for empty, the rest is text."""
    frame = warmwatch.read_recording(written(tmp_path))
    assert list(frame.columns) == HEADER.split(",")
    assert str(frame["time"].dtype).startswith("datetime64[")
    assert frame["time"].dt.tz is not None
    assert frame["fluid_c"].dtype == "float64"
    assert list(frame["kind"]) == ["opened", "reading", "mark", "tick", "event", "closed"]
    assert frame["text"][2] == "=1+1"
    assert pd.isna(frame["fluid_c"][2])
    assert frame.attrs["closed"] is True
    assert frame.attrs["torn"] == ""
    assert sidecar_job(frame.attrs["sidecar"]) == JOB


def test_the_file_is_plain_rfc_4180(tmp_path: Path) -> None:
    """Python's csv module, as an independent reader, sees the same cells; lines end in CRLF."""
    path = written(tmp_path)
    data = path.read_bytes()
    assert data.count(b"\r\n") == data.count(b"\n") == 7
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, strict=True))
    assert rows[1]["fluid_c"] == "79.5"
    assert rows[2]["text"] == "'=1+1"


def test_the_digest_is_what_the_docs_say(tmp_path: Path) -> None:
    """Recomputed with hashlib alone: SHA-256 of the digest before and the row up to its digest."""
    lines = written(tmp_path).read_text(encoding="utf-8").splitlines()
    digest = hashlib.sha256(lines[0].encode()).hexdigest()
    for line in lines[1:]:
        body, _, stated = line.rpartition(",")
        digest = hashlib.sha256((digest + body).encode()).hexdigest()
        assert stated == digest


def test_the_sidecar_follows_csv_on_the_web(tmp_path: Path) -> None:
    """W3C CSVW: the context, the file's url, and one column description for each column."""
    path = written(tmp_path)
    sidecar = json.loads(sidecar_path(path).read_text(encoding="utf-8"))
    assert sidecar["@context"] == "http://www.w3.org/ns/csvw"
    assert sidecar["url"] == path.name
    assert [column["name"] for column in sidecar["tableSchema"]["columns"]] == HEADER.split(",")


def test_the_first_row_seals_the_sidecar(tmp_path: Path) -> None:
    """The sidecar's digest stands in the chain."""
    path = written(tmp_path)
    stated = next(iter(RowReader(path))).cells["text"]
    assert stated == "sidecar=" + hashlib.sha256(sidecar_path(path).read_bytes()).hexdigest()


@pytest.mark.parametrize("cut", [1, 2, 3, 40, 100])
def test_a_torn_last_line_is_left_out_and_told(tmp_path: Path, cut: int) -> None:
    """A file cut anywhere in its last line still gives everything before it."""
    path = written(tmp_path, close=False)
    path.write_bytes(path.read_bytes()[:-cut])
    frame = warmwatch.read_recording(path)
    assert list(frame["kind"]) == ["opened", "reading", "mark", "tick"]
    assert "row 6 is torn" in frame.attrs["torn"]
    assert frame.attrs["closed"] is False


def test_a_break_in_the_middle_is_no_torn_end(tmp_path: Path) -> None:
    """Lines after a broken one mean damage, and the row is named."""
    path = written(tmp_path)
    lines = path.read_bytes().split(b"\r\n")
    lines[2] = lines[2][:20]
    path.write_bytes(b"\r\n".join(lines))
    with pytest.raises(RecordingError, match="broken at row 3"):
        warmwatch.read_recording(path)


def test_an_endless_line_is_refused(tmp_path: Path) -> None:
    """A file that is one giant line is refused without reading it all."""
    path = tmp_path / "giant.csv"
    with path.open("wb") as file:
        file.truncate(1 << 31)
    with pytest.raises(RecordingError, match="never ends"):
        warmwatch.read_recording(path)


def test_other_files_are_no_recordings(tmp_path: Path) -> None:
    """A foreign CSV, an empty file, a folder and a missing file are told apart."""
    foreign = tmp_path / "foreign.csv"
    foreign.write_text("time,temp\n", encoding="utf-8")
    assert not is_recording(foreign)
    assert not is_recording(tmp_path)
    with pytest.raises(RecordingError, match="not a warmwatch recording"):
        warmwatch.read_recording(foreign)
    with pytest.raises(RecordingError, match="Cannot read"):
        warmwatch.read_recording(tmp_path / "missing.csv")
    assert is_recording(written(tmp_path))


def test_names_never_clash(tmp_path: Path) -> None:
    """Two watches started in the same second in the same folder get files of their own."""
    first, second = written(tmp_path), written(tmp_path)
    assert first != second
    assert first.name == "2026-05-28T20-26-40Z_blue-van---no-plate_idle.csv"
    assert len(warmwatch.read_recording(second)) == 6


def test_an_unwritable_folder_is_told(tmp_path: Path) -> None:
    """The sentence names the folder and both options."""
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    with pytest.raises(RecordingError, match="--record DIR"):
        create(blocked / "sub", JOB, "demo:", {}, UTC_S)


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="only Linux has /dev/full")
def test_a_full_disk_is_told_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """/dev/full answers every write with ENOSPC, as a full disk does; nothing stays behind."""
    real = files.open_new
    monkeypatch.setattr(
        disk,
        "open_new",
        lambda path: os.open("/dev/full", os.O_WRONLY) if path.suffix == ".csv" else real(path),
    )
    with pytest.raises(RecordingError, match=r"Cannot record in .*No space left"):
        create(tmp_path, JOB, "demo:", {}, UTC_S)
    assert list(tmp_path.iterdir()) == []


def test_header_is_stable() -> None:
    """The columns are a contract with spreadsheets and older recordings."""
    assert HEADER.startswith("time,elapsed_s,kind,name,fluid_c,coolant_c,")
    assert HEADER.endswith(",other,crossed_s,fit,text,doubts,raw,digest")


def test_a_label_that_is_no_text_is_recorded_cleaned(tmp_path: Path) -> None:
    """A byte that is no UTF-8 (a lone surrogate to Python) becomes a question mark."""
    job = dataclasses.replace(JOB, vehicle="van \udcff")
    recorder = create(tmp_path, job, "csv:\udcff.csv", {}, UTC_S)
    recorder.close(0.0, UTC_S)
    sidecar = warmwatch.read_recording(recorder.path).attrs["sidecar"]
    assert sidecar["warmwatch:job"]["vehicle"] == "van ?"


def test_a_failed_start_leaves_no_half_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever fails while the two files are made, neither is left behind."""
    with pytest.raises(TypeError):
        create(tmp_path, JOB, "demo:", {"note": object()}, UTC_S)
    assert list(tmp_path.iterdir()) == []

    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RecordingError, match="No space left"):
        create(tmp_path, JOB, "demo:", {}, UTC_S)
    assert list(tmp_path.iterdir()) == []


def test_long_labels_of_any_script_make_a_name_that_fits(tmp_path: Path) -> None:
    """Forty CJK characters take 120 bytes, two labels of them more than most systems allow."""
    job = dataclasses.replace(JOB, vehicle="车" * 40, method="怠" * 40)
    paths = []
    for _ in range(2):
        recorder = create(tmp_path, job, "demo:", {}, UTC_S)
        recorder.close(0.0, UTC_S)
        paths.append(recorder.path)
    assert all(len(sidecar_path(path).name.encode("utf-8")) <= 255 for path in paths)
    assert paths[0].name.startswith("2026-05-28T20-26-40Z_车车")


def test_a_byte_order_mark_is_no_damage_to_the_reader(tmp_path: Path) -> None:
    """A spreadsheet may save a recording with one: it reads the same, while verify stays strict."""
    path = written(tmp_path)
    before = warmwatch.read_recording(path)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    pd.testing.assert_frame_equal(warmwatch.read_recording(path), before)
    assert verify_recording(path).state is SealState.CHANGED


@pytest.mark.parametrize("time_s", ["1.7e308", "-1e11", "inf", "nan"])
def test_a_time_beyond_all_watches_is_refused(time_s: str) -> None:
    """Times far outside a life are no seconds; JSON could not even hold their difference."""
    cells = dict.fromkeys(HEADER.split(","), "") | {"kind": "reading", "elapsed_s": time_s}
    with pytest.raises(ValueError, match="no time in seconds"):
        cells_item(cells)
