"""What every output gets: the entries as they happen, and now and then a view of the whole."""

from dataclasses import dataclass
from typing import Protocol

from warmwatch.core.alarm import Alarm
from warmwatch.core.events import Event
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.level.verdict import NOTHING_CHECKED, LevelVerdict
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, Reading
from warmwatch.core.steps import Step
from warmwatch.words.view import View


@dataclass(frozen=True, slots=True)
class Missed(Notice):
    """Tells an output that `count` entries before the next were left out: it read too slowly."""

    count: int = 0


@dataclass(frozen=True, slots=True)
class AlarmChange:
    """What insists has changed, or whether it was heard, or where the plug is."""

    elapsed_s: float
    alarm: Alarm


@dataclass(frozen=True, slots=True)
class StepChange:
    """Another step of the visit begins, or the same one is allowed now, or no longer.

    `allowed`: nothing that insists, and no condition, forbids it. `begins`: it is another step.
    """

    elapsed_s: float
    step: Step
    allowed: bool = True
    begins: bool = True


Entry = Reading | Mark | Event | Forecast | AlarmChange | StepChange | Notice


@dataclass(frozen=True, slots=True)
class Summary:
    """How the watch ended."""

    view: View
    stopped_by: str
    verdict: LevelVerdict = NOTHING_CHECKED


class Output(Protocol):
    """Something that shows, sounds or passes on. If it fails, the session goes on without it."""

    def take(self, entry: Entry) -> None:
        """Something happened; called on the session's thread, so it must not wait."""

    def show(self, view: View) -> None:
        """The state now, a few times a second of real time; must not wait either."""

    def close(self, summary: Summary) -> None:
        """The watch has ended."""
