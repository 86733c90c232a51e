"""Invented recordings for the tests of verify, proof and jobs: no number in them was measured."""

from collections.abc import Iterable, Iterator
from pathlib import Path

from warmwatch.core.band import Band
from warmwatch.core.events import Event
from warmwatch.core.job import Job
from warmwatch.core.reading import Item, Mark, MarkName, Reading
from warmwatch.core.watch import Watch
from warmwatch.recording.writer import Recorder, create

UTC_S = 1_780_000_000.0
JOB = Job(Band(80.0, 90.0), vehicle="invented vehicle", method="idle", band_source="invented")
ABOUT = {"address": "lines:-", "invented": "Invented for a test: nothing here was measured."}


def check_items(count: int = 60, step_s: float = 1.0) -> Iterator[Item]:
    """Yield `count` readings of a warm-up from 76 to 86 degC, with a check in it."""
    marks = {
        0.70: (MarkName.PLUG_OUT, '=careful, "hot"'),
        0.80: (MarkName.DRIP, ""),
        0.85: (MarkName.PLUG_IN, ""),
        0.90: (MarkName.LEVEL_SET, "35 Nm"),
    }
    due = {round(share * count): mark for share, mark in marks.items()}
    for n in range(count):
        t = n * step_s
        fluid_c = float(round(76.0 + 9.8 * n / count))
        values = {"fluid_c": fluid_c, "engine_rpm": 760.0, "speed_kmh": 0.0}
        yield Reading(t, values, raw=f"7E9 62{round(fluid_c) + 40:02X}", utc_s=UTC_S + t)
        if n in due:
            name, note = due[n]
            yield Mark(t + step_s / 2, name, note, UTC_S + t)


def record(
    folder: Path, items: Iterable[Item] | None = None, *, job: Job = JOB, close: bool = True
) -> Path:
    """Write a recording as the session does, and return its path."""
    recorder = create(folder, job, "lines:-", ABOUT, UTC_S)
    watch = Watch(job)
    item: Item | None = None
    for item in check_items() if items is None else items:
        fold(recorder, watch, item)
    if close:
        shown = watch.verdict
        recorder.close(watch.snapshot().elapsed_s, None if item is None else item.utc_s, shown)
    else:
        recorder.abandon()
    return recorder.path


def fold(recorder: Recorder, watch: Watch, item: Item) -> None:
    """Record and fold one item, and record its events."""
    recorder.item(item)
    for result in watch.step(item):
        if isinstance(result, Event):
            recorder.event(result, item.utc_s)
