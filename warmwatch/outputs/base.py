"""What every output gets: the entries as they happen, and now and then a view of the whole."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from warmwatch.core.events import Event
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, Reading
from warmwatch.core.watch import Snapshot


@dataclass(frozen=True, slots=True)
class Missed(Notice):
    """Tells one output that `count` entries were left out before the next, as it took none."""

    count: int = 0


Entry = Reading | Mark | Event | Forecast | Notice


@dataclass(frozen=True, slots=True)
class View:
    """All a screen needs, frozen.

    `now_s` is the link's clock, so `now_s - snapshot.last_good_s` is the age of the last good
    reading. `values` holds the latest value of each quantity and `value_s` when each came.
    `link_trouble` and `recording_trouble` are sentences, empty while all is well. `prompt` is what
    the keyboard waits for; `panel` says that the page's address is to be shown.
    """

    job: Job
    snapshot: Snapshot
    now_s: float
    values: Mapping[str, float]
    value_s: Mapping[str, float]
    link: str
    link_trouble: str
    recording: str
    recording_trouble: str
    prompt: str = ""
    panel: bool = False


@dataclass(frozen=True, slots=True)
class Summary:
    """How the watch ended."""

    view: View
    stopped_by: str


class Output(Protocol):
    """Something that shows, sounds or passes on. It may fail: the session then goes on without."""

    def take(self, entry: Entry) -> None:
        """Something happened; called on the session's thread, so it must not wait."""

    def show(self, view: View) -> None:
        """The state now, a few times a second of real time; must not wait either."""

    def close(self, summary: Summary) -> None:
        """The watch has ended."""
