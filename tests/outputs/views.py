"""Views made by the real fold from invented readings, for the tests of screens and page."""

from collections.abc import Iterable, Mapping

from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.core.watch import Watch
from warmwatch.outputs.screen.history import History, HistoryTracker
from warmwatch.words.view import View

BAND = Band(80.0, 90.0)


class Played:
    """A watch fed item by item, with what a screen would have got."""

    def __init__(self, job: Job | None = None, **about: str) -> None:
        self.watch = Watch(job or Job(BAND))
        self.story = HistoryTracker(self.watch.job.unit)
        self.about = {"link": "demo:", "link_trouble": "", "recording": "r.csv"} | about
        self.now_s = 0.0
        self.seen: list[Item] = []

    def take(self, items: Iterable[Item]) -> "Played":
        for item in items:
            self.now_s = item.elapsed_s
            self.seen.append(item)
            if not isinstance(item, Tick):
                self.story.take(item)
            for result in self.watch.step(item):
                self.story.take(result)
        return self

    def mark(self, name: MarkName, note: str = "") -> "Played":
        return self.take([Mark(self.now_s, name, note)])

    def view(self, later_s: float = 0.0, **about: object) -> View:
        merged: Mapping[str, object] = {"recording_trouble": "", **self.about, **about}
        return View(
            job=self.watch.job,
            snapshot=self.watch.snapshot(),
            now_s=self.now_s + later_s,
            **merged,  # type: ignore[arg-type]
        )

    def history(self) -> History:
        return self.story.history()


def ramp(
    start_c: float, end_c: float, *, per_min: float = 3.0, from_s: float = 0.0, rpm: float = 780.0
) -> list[Reading]:
    """Return a reading a second from `start_c` to `end_c`."""
    count = max(1, round(abs(end_c - start_c) / per_min * 60.0))
    step = (end_c - start_c) / count
    extra = {"engine_rpm": rpm, "speed_kmh": 0.0, "coolant_c": 88.0, "voltage_v": 13.9}
    return [
        Reading(from_s + i, {"fluid_c": round(start_c + step * i, 1), **extra})
        for i in range(count + 1)
    ]


def silent(from_s: float, seconds: float) -> list[Tick]:
    """Return the ticks of a silence."""
    return [Tick(from_s + i) for i in range(1, int(seconds) + 1)]
