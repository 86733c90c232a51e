"""The invented recordings in recordings/ are what their seeds make."""

import csv
from pathlib import Path

import pytest

from tests.make_recordings import BAND, COMPARED, RUNS, SINGLES, Sample, comparison, foreign, record
from warmwatch.core.units import f_to_c
from warmwatch.recording.reader import read_recording
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording

pytestmark = pytest.mark.slow

RECORDINGS = Path(__file__).parents[2] / "recordings"


def inputs(path: Path) -> list[dict[str, str]]:
    """Return the readings and marks of a recording: the cells that are filled, without digests.

    A busy machine hands the fluid over before the rest of its round, as a reading of its own a
    microsecond earlier: the two are one here.
    """
    with path.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["kind"] in ("reading", "mark")]
    found: list[dict[str, str]] = []
    for row in rows:
        cells = {k: cell for k, cell in row.items() if cell and k != "digest"}
        if found and 0.0 < float(row["elapsed_s"]) - float(found[-1]["elapsed_s"]) < 1e-3:
            found[-1] = cells | found[-1]
        else:
            found.append(cells)
    return found


def short_sample() -> Sample:
    return next(sample for sample in comparison() if sample.method == "loaded")


def test_a_sample_is_made_again_from_its_seed(tmp_path: Path) -> None:
    """The readings and marks of a committed recording come out the same from its address."""
    made = record(short_sample(), tmp_path)
    assert inputs(made) == inputs(RECORDINGS / made.name)
    assert len(inputs(made)) > 600


def test_the_foreign_table_is_made_again(tmp_path: Path) -> None:
    """The foreign table is what the script writes, and passes through the band."""
    made = tmp_path / "semicolons.csv"
    foreign(made)
    committed = RECORDINGS / "foreign" / "semicolons.csv"
    assert made.read_bytes() == committed.read_bytes()
    with committed.open(encoding="utf-8-sig", newline="") as file:
        fluid_c = [
            f_to_c(float(row["Getriebe_F"].replace(",", ".")))
            for row in csv.DictReader(file, delimiter=";")
        ]
    assert fluid_c[0] < BAND.low_c - 20.0
    assert max(fluid_c) > BAND.high_c


@pytest.mark.parametrize("method", COMPARED)
def test_each_method_has_its_runs(method: str) -> None:
    """Every method of the comparison has three closed, different recordings marked invented."""
    paths = sorted(RECORDINGS.glob(f"*_invented_{method}.csv"))
    assert len(paths) == RUNS
    curves = set()
    for path in paths:
        frame = read_recording(path)
        sidecar = frame.attrs["sidecar"]
        assert frame.attrs["closed"]
        assert not frame.attrs["torn"]
        assert "invented" in sidecar["warmwatch:link"]["invented"]
        assert sidecar["warmwatch:job"]["method"] == method
        fluid = frame.loc[frame["kind"] == "reading", "fluid_c"]
        assert (fluid.max() >= BAND.low_c) == (method != "heater")
        assert fluid.max() < 100.0
        curves.add(tuple(fluid))
    assert len(curves) == RUNS


@pytest.mark.parametrize("path", sorted(RECORDINGS.glob("**/2*.csv")), ids=lambda path: path.stem)
def test_samples_are_intact(path: Path) -> None:
    """Every sample verifies: digests, and the events that today's fold gives for its readings.

    After a change of the fold make them anew: `python -m tests.make_recordings`.
    """
    report = verify_recording(path)
    assert report.state is SealState.INTACT, report.reason


def test_single_samples_are_there() -> None:
    """Each sample outside the comparison has been recorded with its address in the sidecar."""
    addresses = {
        read_recording(path).attrs["sidecar"]["warmwatch:link"]["address"]
        for name in ("single", "trouble")
        for path in (RECORDINGS / name).glob("*.csv")
    }
    assert addresses == {sample.address for sample in SINGLES}


def test_the_troubled_sample_shows_its_troubles() -> None:
    """The sample with troubles holds blind stretches and doubted readings."""
    (path,) = (RECORDINGS / "trouble").glob("*.csv")
    frame = read_recording(path)
    names = set(frame.loc[frame["kind"] == "event", "name"])
    assert {"blind", "seeing", "doubtful"} <= names
    assert (frame["doubts"] != "").sum() == 5
    seen_s = frame.loc[frame["fluid_c"].notna(), "elapsed_s"]
    assert seen_s.diff().max() > 20.0
