"""A visit is gone on with only where somebody says so."""

from dataclasses import replace
from pathlib import Path

import pytest

from tests.recording.invented import ABOUT, JOB, UTC_S, check_items, record
from warmwatch.app.same_visit import going_on, join_visit, proposal
from warmwatch.core.band import Band
from warmwatch.core.level.verdict import NOTHING_CHECKED
from warmwatch.core.reading import Mark, MarkName
from warmwatch.errors import UsageError
from warmwatch.recording.jobs import list_recordings, visits
from warmwatch.recording.writer import create

HOUR_S = 3600.0


def test_again_joins_the_vehicles_visit_of_the_day(tmp_path: Path) -> None:
    """The two recordings share an id then, and `jobs` shows them as one visit, oldest first."""
    first = record(tmp_path)
    now_s = UTC_S + HOUR_S
    visit = join_visit("again", tmp_path, JOB.vehicle, now_s)
    second = create(tmp_path, JOB, "lines:-", ABOUT, now_s, visit=visit)
    second.close(1.0, now_s, NOTHING_CHECKED)
    (group,) = visits(list_recordings(tmp_path))
    assert [one.path for one in group] == [first, second.path]
    alone = create(tmp_path, JOB, "lines:-", ABOUT, now_s + 1.0)
    alone.close(1.0, now_s, NOTHING_CHECKED)
    assert len(visits(list_recordings(tmp_path))) == 2


def test_it_is_proposed_for_the_same_vehicle_and_never_guessed(tmp_path: Path) -> None:
    """Another vehicle, no label, or another day: nothing is proposed; and without asking no id."""
    record(tmp_path)
    now_s = UTC_S + HOUR_S
    assert "--visit again" in proposal(tmp_path, JOB.vehicle, now_s)
    assert join_visit(None, tmp_path, JOB.vehicle, now_s) == ""
    assert proposal(tmp_path, "another", now_s) == ""
    assert proposal(tmp_path, JOB.vehicle, UTC_S + 25 * HOUR_S) == ""
    record(tmp_path, job=replace(JOB, vehicle=""))
    assert proposal(tmp_path, "", now_s) == ""
    with pytest.raises(UsageError, match="no recording of another"):
        join_visit("again", tmp_path, "another", now_s)


def test_what_was_drained_is_not_drained_again(tmp_path: Path) -> None:
    """Only the recording that goes on with the visit loses the range; a slip leaves it."""
    job = replace(JOB, drain_band=Band(40.0, 60.0))
    slip = [Mark(100.5, MarkName.DRAINED, "4 L", UTC_S), Mark(101.0, MarkName.WITHDRAW, "", UTC_S)]
    for number, (marks, kept) in enumerate(((slip[:1], None), (slip, job.drain_band))):
        path = record(tmp_path / str(number), [*check_items(100), *marks], job=job)
        visit = list_recordings(path.parent)[0].visit
        assert going_on(job, path.parent, visit).drain_band == kept
        assert going_on(job, path.parent, "").drain_band == job.drain_band
