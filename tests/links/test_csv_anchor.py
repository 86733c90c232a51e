"""Times that start anew or leap in a file: the rest is read, behind a gap, and it is told."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.links.test_csv import NAMES, items, write
from warmwatch.core.band import Band
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.reading import Reading
from warmwatch.core.watch import Watch
from warmwatch.links import Notice
from warmwatch.links.csv.anchor import AHEAD_S, BACK_S, GAP_S, Anchor


def placed(times: list[float]) -> tuple[list[float], list[Notice], int]:
    """Return the times after the anchor, what was told, and how many rows were left out."""
    anchor = Anchor("log.csv", 1.0)
    found = [item for t in times for item in anchor.take(Reading(t, {"fluid_c": 50.0}))]
    anchor.end()
    kept = [item.elapsed_s for item in found if isinstance(item, Reading)]
    return kept, [item for item in found if isinstance(item, Notice)], anchor.strays


@pytest.mark.parametrize("start_s", [0.0, 1.7e9], ids=["anew from zero", "clock set under way"])
def test_a_file_goes_on_after_its_time_leapt(tmp_path: Path, start_s: float) -> None:
    """600 rows, then 600 more from elsewhere: all are read, behind a gap, and it is told once."""
    times = [*range(1000, 1600), *(start_s + t for t in range(600))]
    content = "t,temp\n" + "".join(f"{t:.0f},80\n" for t in times)
    found = items(write(tmp_path, content), NAMES)
    told = [item.text for item in found if isinstance(item, Notice)]
    read = [item.elapsed_s for item in found if isinstance(item, Reading)]
    assert len(told) == 1
    assert "log.csv" in told[0]
    assert read == [*range(1000, 1600), *(1599 + GAP_S + t for t in range(600))]


def test_every_watch_is_blind_in_the_gap() -> None:
    """A window must not reach over a time that nobody knows: blind, whatever the job's limit."""
    kept, _, _ = placed([*map(float, range(1000, 1100)), *map(float, range(100))])
    watch = Watch(Job(Band(40.0, 60.0), blind_s=60.0))
    results = [r for t in kept for r in watch.step(Reading(t, {"fluid_c": 50.0}))]
    kinds = [r.kind for r in results if isinstance(r, Event)]
    assert kinds.count(EventKind.BLIND) == 1
    assert kinds.index(EventKind.BLIND) < kinds.index(EventKind.SEEING)


@pytest.mark.parametrize("slip_s", [1e9, -1e9, 0.0])
def test_one_wild_time_costs_its_own_row_only(slip_s: float) -> None:
    """A slip far ahead must not make all later rows seem old."""
    times = [float(t) for t in range(1000, 1100)]
    assert placed([*times[:50], slip_s, *times[50:]]) == (times, [], 1)
    assert placed([*times, slip_s]) == (times, [], 1)


def test_rows_slightly_out_of_order_stay_as_they_are() -> None:
    """The fold tells them; they are no new start."""
    times = [100.0, 101.0, 100.5, 102.0, 95.0, 96.0, 97.0, 98.0, 103.0]
    assert placed(times) == (times, [], 0)


@given(st.lists(st.floats(-1e9, 1e9), max_size=60))
def test_no_row_gets_lost_uncounted(times: list[float]) -> None:
    """Whatever the times: each row is placed or counted, and no placed one is far off."""
    kept, _, strays = placed(times)
    assert len(kept) + strays == len(times)
    last_s = kept[0] if kept else 0.0
    for t in kept:
        assert -BACK_S - 1e-3 <= t - last_s <= AHEAD_S + 1e-3
        last_s = max(last_s, t)
