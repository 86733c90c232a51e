"""`warmwatch plot`: names, units, refusals, and that no recording is ever harmed."""

from pathlib import Path

import pytest

from tests.outputs.invented import JOB, warm_up
from warmwatch.commands.main import run
from warmwatch.core.reading import Item
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.writer import create

PNG = b"\x89PNG\r\n\x1a\n"


def record(folder: Path, items: list[Item], *, close: bool = True, **about: object) -> Path:
    """Write a recording as `watch` does and return its path."""
    recorder = create(folder, JOB, "csv:invented.csv", about, 1_780_000_000.0)
    for item in items:
        recorder.item(item)
    if close:
        recorder.close(items[-1].elapsed_s if items else 0.0, 1_780_000_000.0)
    else:
        recorder.abandon()
    return recorder.path


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    return record(tmp_path / "rec", warm_up(600))


def svg(path: Path, *options: str) -> str:
    """Draw `path` as SVG and return the text of it."""
    target = path.with_suffix(".svg")
    assert run(["plot", str(path), "-o", str(target), *options]) == 0
    return target.read_text(encoding="utf-8")


@pytest.mark.slow
def test_the_picture_stands_beside_the_recording(
    recording: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without options RECORDING.png is written and named, and a second run replaces it."""
    before = recording.read_bytes()
    assert run(["plot", str(recording)]) == 0
    assert str(recording.with_suffix(".png")) in capsys.readouterr().out
    assert recording.with_suffix(".png").read_bytes().startswith(PNG)
    assert run(["plot", str(recording)]) == 0
    assert recording.read_bytes() == before


@pytest.mark.slow
def test_the_ending_or_the_option_chooses_the_format(recording: Path, tmp_path: Path) -> None:
    """`-o x.svg` and `--format svg` both give an SVG; a strange ending needs the option."""
    assert svg(recording).startswith("<?xml")
    assert run(["plot", str(recording), "--format", "svg"]) == 0
    assert run(["plot", str(recording), "-o", str(tmp_path / "x"), "--format", "png"]) == 0
    assert (tmp_path / "x").read_bytes().startswith(PNG)


@pytest.mark.parametrize(
    "options", [["-o", "x.pdf"], ["-o", "x"], ["-o", "x.png", "--format", "svg"]]
)
def test_formats_that_do_not_fit_are_wrong_usage(
    recording: Path, options: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """An unknown ending, or one that contradicts the option, is exit code 2 and a remedy."""
    assert run(["plot", str(recording), *options]) == 2
    assert capsys.readouterr().err.count("\n") == 1


@pytest.mark.slow
def test_unit_is_the_jobs_unless_given(recording: Path) -> None:
    """The job's unit is C; `--unit F` shows 80 to 90 degC as 176 to 194 degF."""
    assert "Band 80 to 90 °C" in svg(recording)
    assert "Band 176 to 194 °F" in svg(recording, "--unit", "F")


@pytest.mark.parametrize("ending", [".csv", ".csv-metadata.json"])
def test_a_recording_is_never_overwritten(
    recording: Path, ending: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A target that is no picture is left alone, though it was named."""
    target = recording.with_suffix(ending)
    before = target.read_bytes()
    assert run(["plot", str(recording), "-o", str(target), "--format", "png"]) == 1
    assert target.read_bytes() == before
    assert "left alone" in capsys.readouterr().err


def test_empty_recording_is_drawn(tmp_path: Path) -> None:
    """A recording without a single reading gives a picture that says so."""
    assert "No fluid temperature" in svg(record(tmp_path, []))


@pytest.mark.slow
def test_foot_says_what_the_recording_is(tmp_path: Path) -> None:
    """Never closed, torn and invented recordings say so below the picture."""
    whole = record(tmp_path / "a", warm_up(100), invented="An invented vehicle.")
    assert "An invented vehicle." in svg(whole)
    assert "never closed" not in svg(whole)
    open_end = record(tmp_path / "b", warm_up(100), close=False)
    assert "never closed" in svg(open_end)
    open_end.write_bytes(open_end.read_bytes()[:-40])
    assert "torn" in svg(open_end)


@pytest.mark.slow
def test_forecasts_of_another_version_are_told(recording: Path) -> None:
    """Forecasts are made anew, so another version than the one that recorded is named."""
    assert "this version" not in svg(recording)
    path = sidecar_path(recording)
    text = path.read_text(encoding="utf-8").replace('"warmwatch": "', '"warmwatch": "0.0.')
    path.write_text(text, encoding="utf-8")
    assert "this version" in svg(recording)


def test_what_is_no_recording_is_one_sentence(
    tmp_path: Path, recording: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Missing files, other CSV files and a missing sidecar end with exit code 1 and a sentence."""
    other = tmp_path / "other.csv"
    other.write_text("time,temp\n1,20\n", encoding="utf-8")
    lonely = record(tmp_path / "lonely", warm_up(20))
    sidecar_path(lonely).unlink()
    reasons = {
        tmp_path / "missing.csv": "There is no file",
        other: "other.csv is not a warmwatch recording",
        lonely: "sidecar",
        tmp_path: "Cannot read",
    }
    for path, reason in reasons.items():
        assert run(["plot", str(path)]) == 1
        error = capsys.readouterr().err
        assert reason in error
        assert error.startswith("warmwatch: ")
        assert error.count("\n") == 1


@pytest.mark.parametrize(("old", "new"), [(",35.0,", ",inf,"), (",35.0,", ",x,")])
def test_a_damaged_row_is_named(
    recording: Path, old: str, new: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A row whose numbers are none is named by its number, without a traceback."""
    text = recording.read_text(encoding="utf-8")
    recording.write_text(text.replace(old, new, 1), encoding="utf-8")
    assert run(["plot", str(recording)]) == 1
    assert "Row " in capsys.readouterr().err


def test_unwritable_target_is_one_sentence(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder that is not there is told with a remedy."""
    assert run(["plot", str(recording), "-o", str(tmp_path / "no" / "x.png")]) == 1
    assert "give another name" in capsys.readouterr().err
