"""Does a watch continue a visit? The same vehicle, the same folder, less than a day ago.

It is proposed and never guessed: a recording joins a visit only where somebody says so.
"""

from dataclasses import replace
from pathlib import Path

from warmwatch.core.job import Job
from warmwatch.core.level.marks import standing_marks
from warmwatch.core.reading import Mark, MarkName
from warmwatch.errors import RecordingError, UsageError
from warmwatch.recording.jobs import Listed, list_recordings
from warmwatch.recording.rows import utc_seconds

AGAIN = "again"
DAY_S = 24 * 3600.0


def join_visit(wanted: str | None, folder: Path | None, vehicle: str, now_s: float) -> str:
    """Return the id of the visit to record, empty for a new one.

    `wanted` is an id, or AGAIN for that of the vehicle's latest recording; UsageError where there
    is none.
    """
    if wanted is None or wanted != AGAIN:
        return wanted or ""
    earlier = latest(folder, vehicle, now_s)
    if earlier is None:
        of = f" of {vehicle}" if vehicle else ""
        raise UsageError(f"--visit again: there is no recording{of} of the last day in {folder}.")
    return earlier.visit


def proposal(folder: Path | None, vehicle: str, now_s: float) -> str:
    """Return a sentence where there is a visit that this may belong to; empty where there is not.

    Without a label nothing is proposed: nobody could tell the vehicles apart.
    """
    earlier = latest(folder, vehicle, now_s) if vehicle else None
    if earlier is None:
        return ""
    return (
        f"{vehicle} was recorded in the last day ({earlier.path.name}): if this is the same visit, "
        "start with --visit again, so that one proof shows both."
    )


def recordings_of(folder: Path | None, visit: str) -> list[Path]:
    """Return the recordings of a visit in a folder, oldest first; none without a visit."""
    if folder is None or not visit or not folder.is_dir():
        return []
    return [one.path for one in reversed(list_recordings(folder)) if one.visit == visit]


def going_on(job: Job, folder: Path | None, visit: str) -> Job:
    """Return the job of a watch that continues a visit: what was drained is not drained again.

    Such a job has no range for draining warm, so no step and no signal asks for it.
    """
    if job.drain_band is None or not any(map(_was_drained, recordings_of(folder, visit))):
        return job
    return replace(job, drain_band=None)


def _was_drained(path: Path) -> bool:
    from warmwatch.outputs.proof.facts import read_items

    try:
        marks = standing_marks([item for item in read_items(path) if isinstance(item, Mark)])
    except (RecordingError, OSError):
        return False
    return any(mark.name is MarkName.DRAINED for mark in marks)


def latest(folder: Path | None, vehicle: str, now_s: float) -> Listed | None:
    """Return the latest recording of the vehicle in the last day; None where there is none."""
    if folder is None or not folder.is_dir():
        return None
    for one in list_recordings(folder):
        began_s = utc_seconds(one.time)
        if began_s is None or not 0.0 <= now_s - began_s < DAY_S:
            continue
        if one.vehicle == vehicle and one.visit:
            return one
    return None
