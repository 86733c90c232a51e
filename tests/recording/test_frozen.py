"""Recordings of released versions are read, drawn, proved and verified for ever."""

import dataclasses
import hashlib
import shutil
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
import pytest

import warmwatch
from warmwatch.commands.main import run
from warmwatch.core.units import QUANTITIES, Quantity
from warmwatch.errors import RecordingError
from warmwatch.outputs.proof.reading import verify_file
from warmwatch.recording.fold import fold_digest
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.reader import RowReader
from warmwatch.recording.rows import Chain
from warmwatch.recording.schema import current_schema
from warmwatch.recording.seal.key import public_fingerprint
from warmwatch.recording.seal.report import Report, SealState
from warmwatch.recording.seal.verify import verify_recording
from warmwatch.recording.sidecar import read_sidecar

pytestmark = pytest.mark.slow

FROZEN = Path(__file__).parent / "frozen" / "0.1"
RECORDINGS = {path.parent.name: path for path in sorted(FROZEN.glob("*/*.csv"))}
ROWS = {"check": 403, "fahrenheit": 300, "gaps": 188, "signed": 188, "torn": 60}
SENTENCE = "its events were made by another version and were not worked out again"
FORMAT_1 = "warmwatch recording 1"
every = pytest.mark.parametrize("name", RECORDINGS)


@every
def test_it_is_read(name: str) -> None:
    """All whole rows come, with numbers as numbers, and its sidecar says the format."""
    frame = warmwatch.read_recording(RECORDINGS[name])
    assert len(frame) == ROWS[name]
    assert frame["fluid_c"].notna().sum() > 50
    assert isinstance(frame["time"].dtype, pd.DatetimeTZDtype)
    assert frame.attrs["closed"] is (name != "torn")
    assert frame.attrs["sidecar"]["warmwatch:format"] == FORMAT_1


@pytest.mark.parametrize("name", ["check", "torn"])
def test_it_is_drawn_and_proved(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`plot` and `proof` work, and what `verify` says of the proof is what it says of the file."""
    recording = str(RECORDINGS[name])
    picture, proof = tmp_path / "p.png", tmp_path / "p.pdf"
    assert run(["plot", recording, "-o", str(picture)]) == 0
    assert run(["proof", recording, "-o", str(proof)]) == 0
    assert picture.stat().st_size > 10_000
    capsys.readouterr()
    assert run(["verify", str(proof)]) == run(["verify", recording])


@every
def test_it_is_replayed(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A watch takes it as a link, with its own band."""
    assert run(["watch", str(RECORDINGS[name]), "--no-record", "--json", "--quiet"]) == 0
    assert '"kind": "summary"' in capsys.readouterr().out


def as_it_should_be(report: Report) -> bool:
    """Whether an unsigned recording of another version is told as what it is."""
    told = (report.state, report.exit_code, report.events)
    return told == (SealState.OTHER_VERSION, 4, "not worked out") and SENTENCE in report.reason


@pytest.mark.parametrize("name", ["check", "fahrenheit", "gaps"])
def test_an_unsigned_one_is_never_intact_unseen(name: str) -> None:
    """Exit code 4 and the sentence: version 0.1 recorded its reasons as sentences."""
    assert as_it_should_be(verify_recording(RECORDINGS[name]))


def test_a_torn_one_is_torn() -> None:
    """Whoever made it: exit code 3, with the row."""
    report = verify_recording(RECORDINGS["torn"])
    assert (report.state, report.row, report.exit_code) == (SealState.TORN, 62, 3)


def test_a_signed_one_stays_good() -> None:
    """Exit code 0 by its signature, and the same sentence where another version made its events."""
    key = public_fingerprint(FROZEN / "shop-public.pem")
    report = verify_recording(RECORDINGS["signed"])
    assert (report.state, report.exit_code, report.signed_by) == (SealState.INTACT, 0, key)
    assert (report.events, report.rows) == ("not worked out", 188)
    assert SENTENCE in report.reason


def test_its_proofs_verify() -> None:
    """The signed one by its key; the unsigned one is as its recording is."""
    signed = verify_file(FROZEN / "signed-proof.pdf")
    assert (signed.exit_code, signed.signed_by) == (
        0,
        public_fingerprint(FROZEN / "shop-public.pem"),
    )
    assert as_it_should_be(verify_file(FROZEN / "proof.pdf"))


def forged(
    source: Path, folder: Path, fold: str, form: str = FORMAT_1, gone: str = "entered"
) -> Path:
    """Return a copy with another `fold` in its sidecar, an event less, and its chain made anew."""
    path = folder / source.name
    sidecar = sidecar_path(source).read_text(encoding="utf-8")
    was = read_sidecar(source)["warmwatch:versions"]["fold"]
    sidecar = sidecar.replace(was, fold).replace(FORMAT_1, form)
    sidecar_path(path).write_bytes(sidecar.encode())
    reader = RowReader(source)
    rows = [row.cells for row in reader]
    rows.remove(next(row for row in rows if row["name"] == gone))
    rows[0]["text"] = f"sidecar={hashlib.sha256(sidecar_path(path).read_bytes()).hexdigest()}"
    rows[-1]["text"] = f"rows={len(rows) - 1}"
    chain = Chain(reader.schema)
    lines = [reader.schema.header, *(chain.seal(row) for row in rows)]
    path.write_bytes("".join(line + "\r\n" for line in lines).encode())
    return path


@pytest.mark.parametrize("fold", ["0123456789abcdef", "", "own"])
def test_a_foreign_fold_does_not_switch_the_event_check_off(fold: str, tmp_path: Path) -> None:
    """An event taken out and the chain made anew: CHANGED under our fold, never intact."""
    if fold == "own":
        fold = fold_digest()
    report = verify_recording(forged(RECORDINGS["check"], tmp_path, fold))
    if fold == fold_digest():
        assert report.state is SealState.CHANGED
    else:
        assert (report.state, report.exit_code) == (SealState.OTHER_VERSION, 4)
        assert SENTENCE in report.reason


def states() -> Sequence[SealState]:
    return [verify_recording(RECORDINGS[name]).state for name in ("gaps", "torn")]


def test_a_new_quantity_changes_nothing_for_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Their columns are their own; what is written from then on has the new column, too."""
    from tests.recording.invented import check_items, record
    from warmwatch.core.reading import Reading

    before = states()
    sample = next(iter(QUANTITIES.values()))
    new = dataclasses.replace(sample, meaning="an invented quantity")
    assert isinstance(new, Quantity)
    monkeypatch.setitem(QUANTITIES, "pan_c", new)
    for name, path in RECORDINGS.items():
        frame = warmwatch.read_recording(path)
        assert (len(frame), "pan_c" in frame) == (ROWS[name], False)
    assert states() == before
    items = [
        dataclasses.replace(item, values={**item.values, "pan_c": 55.5})
        if isinstance(item, Reading)
        else item
        for item in check_items()
    ]
    path = record(tmp_path, items)
    assert "pan_c" in current_schema().quantities
    assert warmwatch.read_recording(path)["pan_c"].max() == 55.5
    monkeypatch.delitem(QUANTITIES, "pan_c")  # and one that does not know it reads it, too
    assert warmwatch.read_recording(path)["pan_c"].max() == 55.5
    assert verify_recording(path).state is SealState.INTACT


def test_a_newer_format_is_told_as_such(tmp_path: Path) -> None:
    """Not as changed or broken: the sentence says what to do."""
    source = RECORDINGS["gaps"]
    shutil.copy(source, tmp_path)
    sidecar = sidecar_path(source).read_text(encoding="utf-8")
    path = tmp_path / source.name
    sidecar_path(path).write_text(
        sidecar.replace(FORMAT_1, "warmwatch recording 99"), encoding="utf-8"
    )
    with pytest.raises(RecordingError, match="newer warmwatch"):
        warmwatch.read_recording(path)
    assert verify_recording(path).state is SealState.CHANGED  # for the first row seals the sidecar
    path = forged(source, tmp_path, "0123456789abcdef", "warmwatch recording 99", "nearing")
    assert verify_recording(path).state is SealState.OTHER_VERSION
