"""A visit is gone on with only where somebody says so."""

from dataclasses import replace
from pathlib import Path

import pytest

from tests.recording.invented import ABOUT, JOB, UTC_S, record
from warmwatch.app.same_visit import join_visit, proposal
from warmwatch.core.level.verdict import NOTHING_CHECKED
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
