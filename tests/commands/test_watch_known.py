"""`warmwatch watch "white van"`: what the shop's book adds to a watch."""

import io
import json
import shutil
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.commands.conftest import Run
from warmwatch.app.confirm import confirm_band
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.errors import UsageError
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.sidecar import read_sidecar, sidecar_job

RECORDINGS = Path(__file__).parents[2] / "recordings"
FAST = ("--pace", "6000", "--until", "3", "--plain", "--quiet")


@pytest.fixture
def van(warmwatch: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """A book with an invented vehicle; its band is in °F."""
    monkeypatch.setenv("WARMWATCH_HOME", str(tmp_path / "home"))
    book = ("band=176:194", "unit=F", "band_source=invented page 3", "capacity_l=9.1")
    assert warmwatch("book", "set", "demo adapter", "address=demo:").code == 0
    assert warmwatch("book", "set", "white van", "link=demo adapter", *book).code == 0
    return warmwatch


def sidecar(folder: Path) -> dict[str, Any]:
    (path,) = folder.glob("*.json")
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return content


def test_a_label_is_a_whole_command(van: Run, tmp_path: Path) -> None:
    """Link, band, unit, source and fluid come from the book, and the recording says so."""
    ran = van("watch", "White VAN", "--yes", *FAST)
    assert ran.code == 0
    assert "band 176 to 194 °F (80 to 90 °C), from: invented page 3" in ran.err
    kept = sidecar(tmp_path / "warmwatch-recordings")
    assert kept["warmwatch:job"]["vehicle"] == "white van"
    assert kept["warmwatch:job"]["fluid"]["capacity_l"] == 9.1
    assert kept["warmwatch:job"]["band"] == {"low_c": 80.0, "high_c": 90.0}
    assert set(kept["warmwatch:origins"].values()) == {"book"}
    assert {"link", "band", "band_source", "fluid.capacity_l"} <= kept["warmwatch:origins"].keys()


def test_options_win_over_the_job_file_and_that_over_the_book(van: Run, tmp_path: Path) -> None:
    """Each value is taken from the nearest place, and the recording names that place."""
    job = tmp_path / "job.toml"
    job.write_text('band_source = "file"\nmethod = "idle"\n', encoding="utf-8")
    given = ("--band", "70C:80C", "--method", "drive", "--job", job)
    assert van("watch", "white van", *given, *FAST).code == 0
    kept = sidecar(tmp_path / "warmwatch-recordings")
    told = kept["warmwatch:job"]
    assert (told["band"], told["band_source"]) == ({"low_c": 70.0, "high_c": 80.0}, "file")
    assert (told["method"], told["unit"]) == ("drive", "F")
    origins = kept["warmwatch:origins"]
    places = [origins[name] for name in ("band", "band_source", "method", "unit", "vehicle")]
    assert places == ["option", "job file", "option", "book", "book"]


def test_a_later_edit_of_the_book_changes_no_recording(van: Run, tmp_path: Path) -> None:
    """The recording keeps the values as they were."""
    van("watch", "white van", "--yes", *FAST)
    van("book", "set", "white van", "band=100:120")
    kept = sidecar(tmp_path / "warmwatch-recordings")
    assert kept["warmwatch:job"]["band"] == {"low_c": 80.0, "high_c": 90.0}


def test_nobody_to_ask_means_no_watch(van: Run, tmp_path: Path) -> None:
    """Without a terminal the band of the book needs --yes, and the sentence says so."""
    ran = van("watch", "white van", *FAST)
    assert ran.code == 2
    assert "--yes" in ran.err
    assert not (tmp_path / "warmwatch-recordings").exists()


def test_the_band_is_confirmed_by_enter(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Enter confirms; anything else ends it, and says how to correct the band."""
    job = Job(Band(80.0, 90.0), vehicle="white van", band_source="page 3")
    monkeypatch.setattr(sys, "stdin", io.StringIO("\nno\n"))
    confirm_band(job, given=False, asked=True)
    with pytest.raises(UsageError, match='book set "white van" band='):
        confirm_band(job, given=False, asked=True)
    assert "80 to 90 °C (176 to 194 °F), from: page 3" in capsys.readouterr().err


def test_an_unknown_label_lists_the_near_ones(van: Run) -> None:
    """A slip leads to the label, and to what an address looks like."""
    ran = van("watch", "whit van")
    assert ran.code == 2
    assert "near it are: white van" in ran.err
    assert "serial:" in ran.err


def test_a_known_vehicle_may_have_another_link(van: Run, tmp_path: Path) -> None:
    """`--vehicle LABEL` brings band and source to any link."""
    assert van("watch", "demo:", "--vehicle", "white van", "--yes", *FAST).code == 0
    origins = sidecar(tmp_path / "warmwatch-recordings")["warmwatch:origins"]
    assert (origins["link"], origins["band"]) == ("option", "book")


def test_a_broken_book_does_not_hinder_a_watch_by_options(van: Run, tmp_path: Path) -> None:
    """It is told with its line, and only what needs the book fails."""
    (tmp_path / "home" / "book.toml").write_text("version = 1\nband = 80:90\n", encoding="utf-8")
    ran = van("watch", "demo:", "--band", "80:90", *FAST)
    assert ran.code == 0
    assert "line 2" in ran.err
    assert van("watch", "white van", *FAST).code == 1


@pytest.mark.slow
def test_earlier_warm_ups_of_the_vehicle_feed_the_forecast(van: Run, tmp_path: Path) -> None:
    """A recording of this label teaches, without an option; one of another label does not."""
    (earlier,) = RECORDINGS.glob("2026-01-12*.csv")
    (tmp_path / "kept").mkdir()
    for path in (earlier, sidecar_path(earlier)):
        shutil.copy(path, tmp_path / "kept")
    label = sidecar_job(read_sidecar(earlier)).vehicle
    van("book", "set", "shop", "recordings=kept")
    van("book", "set", label, "link=demo:", "band=80:90")
    ran = van("watch", label, "--yes", "--no-record", *FAST)
    assert f"knows 1 earlier warm-up of {label}" in ran.err
    assert "earlier" not in van("watch", "white van", "--yes", "--no-record", *FAST).err


def test_a_replay_has_its_own_job(van: Run, tmp_path: Path) -> None:
    """The shop's unit and bands never change what a recording was about."""
    van("watch", "white van", "--yes", *FAST)
    van("book", "set", "shop", "unit=C")
    (path,) = (tmp_path / "warmwatch-recordings").glob("*.csv")
    ran = van("watch", path, "--plain", "--no-record")
    assert ran.code == 0
    assert "for 176 to 194 °F" in ran.out


@pytest.mark.slow
def test_recordings_and_page_of_the_shop(van: Run, tmp_path: Path) -> None:
    """The shop's folder is used, and a watch by label serves the page unless told not to."""
    van("book", "set", "shop", f"recordings={tmp_path / 'kept'}", "page=yes")
    ran = van("watch", "white van", "--yes", *FAST)
    assert "http://127.0.0.1" in ran.out
    assert len(list((tmp_path / "kept").glob("*.csv"))) == 1
    assert "http:" not in van("watch", "white van", "--yes", "--no-page", *FAST).out


@pytest.mark.slow
def test_the_proofs_paperwork_comes_from_the_book(van: Run, tmp_path: Path) -> None:
    """Shop, fluid and torques reach the job; the identification number only where it is wanted."""
    van("book", "set", "shop", "name=Invented garage", "mechanic=nobody")
    facts = ("fluid_name=invented fluid", "plug_torque=25 Nm", "drain_torque=40 Nm", "plate=INV 1")
    van("book", "set", "white van", *facts, "vin=" + "1" * 17)
    van("watch", "white van", "--yes", *FAST)
    van("book", "set", "shop", "vin_in_proof=yes")
    van("watch", "white van", "--yes", "--record", "second", *FAST)
    first, second = (
        sidecar(tmp_path / folder)["warmwatch:job"] for folder in ("warmwatch-recordings", "second")
    )
    assert first["shop"] == {"name": "Invented garage", "mechanic": "nobody"}
    assert first["work"] == {
        "plate": "INV 1", "fluid": "invented fluid",
        "torques": "check plug 25 Nm\ndrain plug 40 Nm",
    }  # fmt: skip
    assert "1" * 17 not in json.dumps(first)
    assert second["work"]["plate"].splitlines() == ["INV 1", "1" * 17]


def test_folder_paper_and_key_of_the_shop(van: Run, tmp_path: Path) -> None:
    """`jobs` lists the shop's folder, `proof` has the shop's paper, `key` the shop's file."""
    import pypdf

    van("book", "set", "shop", "recordings=kept", "paper=letter", "key=own.pem")
    van("watch", "white van", "--yes", *FAST)
    (path,) = (tmp_path / "kept").glob("*.csv")
    assert path.name in van("jobs").out
    assert van("key", "make", "--name", "Invented garage").code == 0
    assert (tmp_path / "own.pem").exists()
    assert van("proof", path, "-o", "p.pdf").code == 0
    page = pypdf.PdfReader(tmp_path / "p.pdf").pages[0].mediabox
    assert (round(page.width), round(page.height)) == (612, 792)  # 8.5 by 11 inches of 72 points
