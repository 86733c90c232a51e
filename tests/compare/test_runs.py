"""Loading many recordings: what is used, what is left out and told, and what is kept."""

import os
import shutil
import sqlite3
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import warmwatch
from tests.compare.made import START_UTC_S, Warm, warm_items, write
from warmwatch.analysis.many.cache import FeatureCache, cache_path
from warmwatch.analysis.many.features import (
    extract,
    extract_from_text,
    extract_to_text,
    features_key,
    file_digest,
)
from warmwatch.analysis.many.frames import find_recordings, read_recordings
from warmwatch.analysis.many.runs import Loaded, Wanted, load_runs, try_digest
from warmwatch.analysis.many.spread import WORTH_PROCESSES, Here, OnDask
from warmwatch.analysis.methods.figures import Run
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Reading
from warmwatch.errors import RecordingError, UsageError, WarmwatchError
from warmwatch.recording.names import sidecar_path
from warmwatch.words.compare.notes import note_text

WARM = Warm(rate=2.5)
T = TypeVar("T")
R = TypeVar("R")


def small(folder: Path, method: str = "idle", *, rate: float = 2.5, number: int = 0) -> Path:
    warm = replace(WARM, rate=rate)
    items = warm_items(warm, 1200, every_s=5.0, seed=number, noise_c=0.05)
    return write(folder, items, method=method, utc_s=START_UTC_S + 10_000.0 * number)


def notes(loaded: Loaded) -> dict[str, str]:
    return {note.name: note_text(note) for note in loaded.notes}


def test_a_folder_is_searched_to_any_depth(tmp_path: Path) -> None:
    """Recordings in sub-folders count; sidecars, hidden files and signatures are passed over."""
    small(tmp_path / "a")
    small(tmp_path / "b" / "c", number=1)
    (tmp_path / ".hidden.csv").write_text("x", encoding="utf-8")
    (tmp_path / "notes.txt").write_text("to do", encoding="utf-8")
    found, told = find_recordings([tmp_path])
    assert sorted(name.split("/")[0] for name in found.values()) == ["a", "b"]
    assert [(note.name, note_text(note), note.used) for note in told] == [
        ("notes.txt", "is not a recording", False)
    ]


def test_two_recordings_never_share_a_name(tmp_path: Path) -> None:
    """Files of one name in two folders keep apart: each is named by its path."""
    one, two = small(tmp_path / "a"), small(tmp_path / "b", rate=3.0)
    assert one.name == two.name
    loaded = load_runs([tmp_path / "a", tmp_path / "b"])
    assert sorted(run.name for run in loaded.runs) == [str(one), str(two)]


def test_a_path_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """A misspelt name is told, not taken for an empty folder."""
    with pytest.raises(UsageError, match="There is no"):
        find_recordings([tmp_path / "nowhere"])


def test_the_same_recording_twice_is_counted_once(tmp_path: Path) -> None:
    """A copy under another name is noticed by its digest and told."""
    original = small(tmp_path)
    copy = original.with_name("zz-copy.csv")
    shutil.copy(original, copy)
    shutil.copy(sidecar_path(original), sidecar_path(copy))
    loaded = load_runs([tmp_path])
    assert len(loaded.runs) == 1
    assert notes(loaded)["zz-copy.csv"].startswith(f"is the same recording as {original.name}")


def test_a_copy_with_another_label_is_told(tmp_path: Path) -> None:
    """Two sidecars that disagree about one recording are told, whichever counts."""
    original = small(tmp_path)
    copy = original.with_name("zz-copy.csv")
    shutil.copy(original, copy)
    text = sidecar_path(original).read_text(encoding="utf-8")
    relabelled = text.replace('"method": "idle"', '"method": "drive"')
    sidecar_path(copy).write_text(relabelled, encoding="utf-8", newline="")
    loaded = load_runs([tmp_path])
    assert notes(loaded)["zz-copy.csv"].endswith("counted once; their sidecars differ")


@pytest.mark.parametrize("method", ["idle", "drive"])
def test_a_simulation_run_twice_is_counted_once(tmp_path: Path, method: str) -> None:
    """The same readings at another wall time, perhaps with another label, are no second run: their
    spread of zero would make every interval too narrow.
    """
    first = small(tmp_path)
    items = warm_items(WARM, 1200, every_s=5.0, seed=0, noise_c=0.05)
    again = write(tmp_path, items, method=method, utc_s=START_UTC_S + 5e6)
    loaded = load_runs([tmp_path])
    assert [run.method for run in loaded.runs] == ["idle"]
    assert notes(loaded)[again.name].startswith(f"holds the same readings as {first.name}")
    assert ("labels differ" in notes(loaded)[again.name]) == (method != "idle")


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_links_that_lead_nowhere_or_away_are_told(tmp_path: Path) -> None:
    """Nothing in a folder is left out silently: a dangling link, a linked folder, a pipe."""
    folder = tmp_path / "folder"
    small(folder)
    (folder / "gone.csv").symlink_to(tmp_path / "nowhere.csv")
    (folder / "away").symlink_to(tmp_path, target_is_directory=True)
    os.mkfifo(folder / "pipe.csv")
    told = notes(load_runs([folder]))
    assert told["gone.csv"] == "is a link to a file that is not there"
    assert told["away"].startswith("is a link to a folder")
    assert told["pipe.csv"] == "is not a file"
    with pytest.raises(UsageError, match=r"gone\.csv leads to a file that is not there"):
        load_runs([folder / "gone.csv"])


def test_a_folder_that_cannot_be_opened_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever lies in it is missing from the comparison, and that is said."""
    small(tmp_path)
    small(tmp_path / "locked", number=1)
    real = os.scandir

    def scandir(path: Any) -> Any:
        if str(path).endswith("locked"):
            raise PermissionError(13, "Permission denied", str(path))
        return real(path)

    monkeypatch.setattr(os, "scandir", scandir)
    loaded = load_runs([tmp_path])
    assert len(loaded.runs) == 1
    assert notes(loaded)["locked"] == "cannot be looked into (Permission denied)"


def broken(path: Path) -> None:
    """Damage a line in the middle."""
    lines = path.read_bytes().split(b"\r\n")
    lines[len(lines) // 2] = b"nonsense"
    path.write_bytes(b"\r\n".join(lines))


def test_bad_files_are_told_and_end_nothing(tmp_path: Path) -> None:
    """Damaged, torn, unclosed, sidecar-less and foreign files: each is told, the rest compares."""
    good = small(tmp_path / "good")
    damaged = small(tmp_path / "damaged", number=1)
    broken(damaged)
    torn = small(tmp_path / "torn", number=2)
    torn.write_bytes(torn.read_bytes()[:-200])
    lonely = small(tmp_path / "lonely", number=3)
    sidecar_path(lonely).unlink()
    garbled = small(tmp_path / "garbled", number=4)
    sidecar_path(garbled).write_text("{", encoding="utf-8")
    (tmp_path / "foreign.csv").write_text("time,temp\n1,2\n", encoding="utf-8")
    items = warm_items(WARM, 600, every_s=5.0, seed=9)
    write(tmp_path / "open", items, close=False, utc_s=START_UTC_S + 1e6)
    loaded = load_runs([tmp_path])
    told = {note.name.split("/")[0]: (note_text(note), note.used) for note in loaded.notes}
    assert sorted(run.name.split("/")[0] for run in loaded.runs) == ["good", "open", "torn"]
    assert good.name in loaded.runs[0].name
    assert told["damaged"][1] is False
    assert "broken" in told["damaged"][0]
    assert told["torn"][0].startswith("its end is missing")
    assert told["torn"][1] is True
    assert "sidecar" in told["lonely"][0]
    assert told["garbled"][1] is False
    assert told["foreign.csv"] == ("is not a recording", False)
    assert told["open"] == ("it was never closed; used as far as it goes", True)


@pytest.mark.slow
@given(st.data())
@settings(max_examples=60)
def test_no_damage_raises(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    """Whatever is cut out of, written over or put into a recording, loading tells and goes on."""
    folder = tmp_path_factory.mktemp("damaged")
    path = write(folder, warm_items(WARM, 300, every_s=10.0))
    content = path.read_bytes()
    at = data.draw(st.integers(0, len(content)), label="at")
    cut = data.draw(st.integers(0, 40), label="cut")
    put = data.draw(
        st.binary(max_size=12) | st.sampled_from([b"inf", b"nan", b",", b'"', b"1e999"])
    )
    path.write_bytes(content[:at] + put + content[at + cut :])
    loaded = load_runs([folder])
    assert len(loaded.runs) + sum(not note.used for note in loaded.notes) == 1


def test_a_value_that_cannot_be_read_leaves_the_recording_out(tmp_path: Path) -> None:
    """A row whose number is text is told with its line, and nothing else of that file is used."""
    path = small(tmp_path)
    data = path.read_bytes().replace(b",60.0", b",sixty", 1)
    path.write_bytes(data.replace(b"reading,,4", b"reading,,x", 1))
    loaded = load_runs([tmp_path])
    assert loaded.runs == ()
    assert "cannot be read" in notes(loaded)[path.name]


def test_fahrenheit_for_celsius_is_left_out(tmp_path: Path) -> None:
    """Values in the wrong unit are told and not compared."""
    items = (Reading(float(s), {"fluid_c": 104.0 + s / 10}) for s in range(600))
    path = write(tmp_path, items)
    loaded = load_runs([tmp_path])
    assert loaded.runs == ()
    assert "look like °F" in notes(loaded)[path.name]


def test_a_changed_sidecar_is_told(tmp_path: Path) -> None:
    """A label that was edited afterwards is used as it is and told: verify would say so, too."""
    path = small(tmp_path)
    text = sidecar_path(path).read_text(encoding="utf-8")
    relabelled = text.replace('"method": "idle"', '"method": "drive"')
    sidecar_path(path).write_text(relabelled, encoding="utf-8", newline="")
    loaded = load_runs([tmp_path])
    assert loaded.runs[0].method == "drive"
    assert "not the one it was recorded with" in notes(loaded)[path.name]


def test_a_changed_reading_is_told(tmp_path: Path) -> None:
    """A recording whose digests do not fit is used and told: someone changed it afterwards."""
    path = small(tmp_path)
    lines = path.read_bytes().split(b"\r\n")
    cells = lines[100].split(b",")
    cells[4] = b"61.5"
    lines[100] = b",".join(cells)
    path.write_bytes(b"\r\n".join(lines))
    loaded = load_runs([tmp_path])
    assert len(loaded.runs) == 1
    assert notes(loaded)[path.name] == "it was changed at row 101 (see warmwatch verify)"


def test_mixed_bands_are_judged_by_the_commonest(tmp_path: Path) -> None:
    """One band judges all; what each recording was made for stays known."""
    for number in range(3):
        band = Band(80.0, 90.0) if number else Band(60.0, 70.0)
        items = warm_items(WARM, 1600, every_s=5.0, seed=number, noise_c=1e-5)
        write(tmp_path, items, band=band, utc_s=START_UTC_S + 1e4 * number)
    loaded = load_runs([tmp_path])
    assert loaded.band == Band(80.0, 90.0)
    assert sorted(run.made_for.low_c for run in loaded.runs) == [60.0, 80.0, 80.0]
    lows = {round(run.features.low_s or 0.0) for run in loaded.runs}
    assert lows == {round(WARM.time_to(80.0))}
    given = load_runs([tmp_path], Wanted(Band(60.0, 70.0)))
    assert {round(run.features.low_s or 0.0) for run in given.runs} == {round(WARM.time_to(60.0))}


def test_labels_can_be_given_and_vehicles_chosen(tmp_path: Path) -> None:
    """A pattern sets a missing label; recordings of another vehicle are told and left out."""
    path = small(tmp_path, "")
    other = write(tmp_path / "other", warm_items(WARM, 300), vehicle="van", utc_s=0.0)
    loaded = load_runs([tmp_path], Wanted(vehicle="invented", labels=[("*Z_inv*", "hill")]))
    assert [run.method for run in loaded.runs] == ["hill"]
    assert notes(loaded)[f"other/{other.name}"] == "is of another vehicle (van)"
    assert path.name == loaded.runs[0].name


def test_kept_features_are_the_same_and_are_used(tmp_path: Path) -> None:
    """The second time nothing is worked out anew, and every digit is the same."""
    for number in range(3):
        small(tmp_path / "r", number=number)
    cache = tmp_path / "cache" / "features.sqlite"
    first = load_runs([tmp_path / "r"], cache=FeatureCache(cache))
    second = load_runs([tmp_path / "r"], cache=FeatureCache(cache))
    assert (first.kept, second.kept) == (0, 3)
    assert first.runs == second.runs
    assert load_runs([tmp_path / "r"]).runs == first.runs


def test_changed_content_is_worked_out_anew(tmp_path: Path) -> None:
    """What is kept goes by the content, not by name or date; so does another band."""
    path = small(tmp_path / "r")
    cache = tmp_path / "features.sqlite"
    load_runs([tmp_path / "r"], cache=FeatureCache(cache))
    stat = path.stat()
    path.write_bytes(path.read_bytes()[:-300])
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    again = load_runs([tmp_path / "r"], cache=FeatureCache(cache))
    assert again.kept == 0
    other = load_runs([tmp_path / "r"], Wanted(Band(70.0, 75.0)), cache=FeatureCache(cache))
    assert other.kept == 0


def test_the_key_goes_by_what_judges_and_not_by_labels() -> None:
    """Two labels share features; two limits do not."""
    job = Job(Band(80.0, 90.0))
    assert features_key("d", job) == features_key("d", replace(job, method="x", vehicle="y"))
    assert features_key("d", job) != features_key("d", replace(job, hold_limit_s=4.0))
    assert features_key("d", job) != features_key("e", job)


def test_another_core_works_the_features_out_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    """Kept windows of a core with other rules are never mixed with today's."""
    job = Job(Band(80.0, 90.0))
    before = features_key("d", job)
    monkeypatch.setattr("warmwatch.analysis.many.features.code_digest", lambda module: "another")
    assert features_key("d", job) != before


def test_a_spoilt_cache_is_told_and_done_without(tmp_path: Path) -> None:
    """A cache file that is none, or an entry that is none, costs time and nothing else."""
    path = small(tmp_path / "r")
    cache = tmp_path / "features.sqlite"
    cache.write_bytes(b"this is no database, just some text that stands here" * 20)
    loaded = load_runs([tmp_path / "r"], cache=FeatureCache(cache))
    assert len(loaded.runs) == 1
    assert "is not used" in notes(loaded)["cache"]
    cache.unlink()
    load_runs([tmp_path / "r"], cache=FeatureCache(cache))
    database = sqlite3.connect(cache)
    with database:
        database.execute("update features set packed = x'00'")
    database.close()
    assert len(load_runs([tmp_path / "r"], cache=FeatureCache(cache)).runs) == 1
    foreign = FeatureCache(tmp_path / "other.sqlite")
    foreign.put({features_key(file_digest(path), Job(Band(80.0, 90.0))): "{}"})
    assert len(load_runs([tmp_path / "r"], cache=foreign).runs) == 1


def test_a_cache_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    """A file where the folder should be: told, and done without."""
    (tmp_path / "blocked").write_text("x", encoding="utf-8")
    small(tmp_path / "r")
    cache = FeatureCache(tmp_path / "blocked" / "features.sqlite")
    loaded = load_runs([tmp_path / "r"], cache=cache)
    assert len(loaded.runs) == 1
    assert "is not used" in notes(loaded)["cache"]


def test_the_cache_has_its_place(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The folder for caches is used, and WARMWATCH_CACHE goes before it."""
    monkeypatch.delenv("WARMWATCH_CACHE", raising=False)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr("sys.platform", "linux")
    assert cache_path() == tmp_path / "warmwatch" / "features.sqlite"
    monkeypatch.setenv("WARMWATCH_CACHE", str(tmp_path / "own"))
    assert cache_path() == tmp_path / "own"


def test_an_extract_reads_back_the_same(tmp_path: Path) -> None:
    """Between processes and in the cache nothing of an extract is lost; nonsense is refused."""
    path = small(tmp_path)
    found = extract(path, Job(Band(80.0, 90.0)), file_digest(path))
    assert extract_from_text(extract_to_text(found)) == found
    assert not found.changed
    assert extract(path, Job(Band(80.0, 90.0)), "another").changed
    for text in ("{}", "[]", "3", '{"features": {}}'):
        with pytest.raises(ValueError, match="no features"):
            extract_from_text(text)


@pytest.mark.slow
def test_processes_give_the_same_as_one(tmp_path: Path) -> None:
    """Spread over processes every figure is the same to the last digit."""
    folder = tmp_path / "r"
    for number in range(WORTH_PROCESSES):
        items = warm_items(replace(WARM, start_c=40.0 + number / 10), 200, every_s=5.0)
        write(folder, items, utc_s=START_UTC_S + 1e4 * number)
    alone = load_runs([folder], spread=Here(1))
    spread = load_runs([folder], spread=Here(2))
    assert len(alone.runs) == WORTH_PROCESSES
    assert alone.runs == spread.runs


@pytest.fixture(scope="module")
def cluster() -> Iterator[str]:
    """Return the address of a real Dask cluster of two worker processes."""
    from distributed import LocalCluster

    start: Any = LocalCluster
    with start(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        dashboard_address=None,
        worker_dashboard_address=None,
        host="127.0.0.1",
        silence_logs="ERROR",
    ) as running:
        yield running.scheduler_address


@pytest.mark.slow
def test_a_dask_cluster_gives_the_same_to_the_last_digit(cluster: str, tmp_path: Path) -> None:
    """Two worker processes of a real cluster find what this process finds, bad files and all."""
    for number, method in enumerate(("idle", "drive", "idle", "drive", "loaded")):
        small(tmp_path, method, rate=2.2 + number / 10, number=number)
    broken(small(tmp_path, number=7))
    here = load_runs([tmp_path])
    spread = OnDask(cluster)
    try:
        there = load_runs([tmp_path], spread=spread)
        workers = spread.worker_pids()
    finally:
        spread.close()
    assert here == there
    assert len(here.runs) == 5
    assert len(workers) == 2
    assert os.getpid() not in workers


def test_other_versions_on_the_workers_are_refused(
    cluster: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Workers with another version might give other figures: told, not used."""
    monkeypatch.setattr("warmwatch.analysis.many.spread.__version__", "9.9")
    with pytest.raises(WarmwatchError, match="install the same version everywhere"):
        OnDask(cluster)


def test_a_cluster_that_is_not_there_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """A scheduler that does not answer is one sentence within the time limit."""
    monkeypatch.setattr("warmwatch.analysis.many.spread.CONNECT_S", 0.5)
    with pytest.raises(UsageError, match="No Dask scheduler answers"):
        OnDask("tcp://127.0.0.1:9")


def test_recordings_become_one_frame(tmp_path: Path) -> None:
    """`read_recordings` gives pandas users all rows with their labels, and what was left out."""
    small(tmp_path, "idle")
    small(tmp_path, "drive", number=1)
    broken(small(tmp_path, number=2))
    frame = warmwatch.read_recordings(tmp_path)
    assert isinstance(frame, pd.DataFrame)
    readings = frame[frame["kind"] == "reading"]
    assert readings.groupby("method").size().to_dict() == {"drive": 241, "idle": 241}
    assert frame.columns[:3].tolist() == ["recording", "vehicle", "method"]
    assert readings["fluid_c"].dtype == "float64"
    assert len(frame.attrs["skipped"]) == 1
    warm = readings[readings["method"] == "idle"].set_index("elapsed_s")["fluid_c"]
    assert warm.loc[600.0] == pytest.approx(WARM.at(600.0), abs=0.3)


def test_no_recording_at_all_is_told(tmp_path: Path) -> None:
    """An empty folder gives a sentence, not an empty frame."""
    with pytest.raises(RecordingError, match="No recording can be read"):
        read_recordings(tmp_path)


def test_runs_know_their_labels(tmp_path: Path) -> None:
    """What is compared carries the labels and the digest of its recording."""
    path = small(tmp_path, "Drive")
    (run,) = load_runs([path]).runs
    assert isinstance(run, Run)
    assert (run.method, run.vehicle, run.name) == ("Drive", "invented", path.name)
    assert run.digest == file_digest(path)
    assert load_runs([path]).invented == ("Invented for a test.",)


@pytest.mark.parametrize(
    ("system", "name", "end"),
    [
        ("win32", "LOCALAPPDATA", ("warmwatch", "features.sqlite")),
        ("darwin", "HOME", ("Library", "Caches", "warmwatch", "features.sqlite")),
    ],
)
def test_each_system_has_its_cache_folder(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, system: str, name: str, end: tuple[str, ...]
) -> None:
    """Windows and macOS keep caches where their users expect them."""
    monkeypatch.delenv("WARMWATCH_CACHE", raising=False)
    monkeypatch.setattr("sys.platform", system)
    monkeypatch.setenv(name, str(tmp_path))
    assert cache_path() == tmp_path.joinpath(*end)


@pytest.mark.slow
def test_a_recording_that_goes_away_is_told(tmp_path: Path) -> None:
    """A file that vanishes, or is still written to, between finding and reading ends nothing."""
    path = small(tmp_path)
    assert try_digest(str(tmp_path / "gone.csv"))[1].startswith("Cannot read")
    cache = FeatureCache(tmp_path / "cache.sqlite")

    class Growing(Here):
        """The recording grows after its digest was taken."""

        def worked(self, function: Callable[[T], R], tasks: Sequence[T]) -> Iterator[R]:
            with path.open("ab") as file:
                file.write(b"more")
            return super().worked(function, tasks)

    assert len(load_runs([path], cache=cache, spread=Growing()).runs) == 1
    assert load_runs([path], cache=cache).kept == 0
