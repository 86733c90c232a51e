"""The list of recordings: what each shows, newest first, from a few kilobytes of each."""

from pathlib import Path

import pytest

from tests.recording.invented import ABOUT, JOB, UTC_S, check_items, record
from warmwatch.core.level.verdict import NOTHING_CHECKED
from warmwatch.errors import UsageError
from warmwatch.recording.jobs import list_recordings, listed_object
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.writer import create


def test_newest_first_with_what_each_shows(tmp_path: Path) -> None:
    """Outcome, labels, band and length, and other files are left out."""
    record(tmp_path)
    later = create(tmp_path, JOB, "lines:-", ABOUT, UTC_S + 86400.0)
    later.close(7.0, UTC_S + 86407.0, NOTHING_CHECKED)
    (tmp_path / "other.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    (tmp_path / "notes.txt").write_text("x", encoding="utf-8")
    found = list_recordings(tmp_path)
    assert [one.outcome for one in found] == ["no-check", "set-inside"]
    assert found[0].time > found[1].time
    assert (found[1].vehicle, found[1].method) == ("invented vehicle", "idle")
    assert listed_object(found[0])["length_s"] == 7.0


def test_a_recording_that_is_not_whole_is_listed_with_its_trouble(tmp_path: Path) -> None:
    """Never closed, torn, or without its sidecar: listed, and no outcome is claimed."""
    unclosed = record(tmp_path, close=False)
    torn = record(tmp_path)
    torn.write_bytes(torn.read_bytes()[:-1])
    lonely = record(tmp_path)
    sidecar_path(lonely).unlink()
    found = {one.path: one for one in list_recordings(tmp_path)}
    assert found[unclosed].trouble == "never-closed"
    assert found[torn].trouble == "never-closed"
    assert "sidecar" in found[lonely].trouble
    assert {one.outcome for one in found.values()} == {""}


@pytest.mark.parametrize("count", [0, 1, 60])
def test_ends_and_sidecars_that_were_changed_claim_nothing(tmp_path: Path, count: int) -> None:
    """An outcome or a label changed in an editor: nothing is listed as if it were so."""
    path = record(tmp_path, check_items(count))
    (whole,) = list_recordings(tmp_path)
    assert (whole.trouble, bool(whole.outcome)) == ("", True)
    data, sidecar = path.read_bytes(), sidecar_path(path).read_text(encoding="utf-8")
    head, _, tail = data.rpartition(b"closed," + whole.outcome.encode())
    path.write_bytes(head + b"closed,set-outside" + tail)
    assert list_recordings(tmp_path)[0].trouble.startswith("changed")
    path.write_bytes(data)
    sidecar_path(path).write_text(sidecar.replace("invented vehicle", "another"), encoding="utf-8")
    (changed,) = list_recordings(tmp_path)
    assert (changed.trouble[:7], changed.outcome) == ("changed", "")


@pytest.mark.slow
def test_a_recording_cut_anywhere_is_torn_and_not_called_changed(tmp_path: Path) -> None:
    """What a power cut leaves, from the opening row on, is no forgery."""
    path = record(tmp_path, check_items(8))
    data = path.read_bytes()
    for length in range(data.index(b"\n") + 1, len(data)):
        path.write_bytes(data[:length])
        (one,) = list_recordings(tmp_path)
        assert one.trouble == "never-closed"


def test_a_folder_that_is_none_is_told(tmp_path: Path) -> None:
    """One sentence."""
    with pytest.raises(UsageError, match="none"):
        list_recordings(tmp_path / "none")


def test_no_recording_is_read_whole(tmp_path: Path) -> None:
    """Eight gigabytes of nothing between its rows: listed all the same, at once."""
    path = record(tmp_path, check_items(16, 0.25))
    rows = path.read_bytes().split(b"\r\n")
    with path.open("wb") as file:
        file.write(b"\r\n".join(rows[:3]) + b"\r\n")
        file.seek(8 << 30)
        file.write(b"\r\n" + rows[-3] + b"\r\n" + rows[-2] + b"\r\n")
    (one,) = list_recordings(tmp_path)
    assert (one.outcome, one.trouble) == ("set-inside", "")
