"""What a session keeps while it runs is bounded."""

from collections.abc import Iterator, Mapping

from warmwatch.app.session import MOST_NAMES, Session
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Reading
from warmwatch.core.watch import Watch
from warmwatch.links.base import LinkItem
from warmwatch.outputs.base import Entry, Summary
from warmwatch.words.view import View


class Babbling:
    """Names a value anew with each reading, as a broken sender might."""

    poll_s = None
    replay = True

    def describe(self) -> Mapping[str, object]:
        return {}

    def elapsed_s(self) -> float:
        return 0.0

    def items(self) -> Iterator[LinkItem]:
        for number in range(5 * MOST_NAMES):
            yield Reading(float(number), {"fluid_c": 50.0, f"x{number}": 1.0})

    def close(self) -> None:
        pass


class Last:
    """Keeps the last view."""

    view: View

    def take(self, entry: Entry) -> None:
        pass

    def show(self, view: View) -> None:
        pass

    def close(self, summary: Summary) -> None:
        self.view = summary.view


def test_ever_new_names_do_not_fill_the_memory() -> None:
    """The newest names are kept, and the quantities always."""
    last = Last()
    Session(Babbling(), Watch(Job(Band(80.0, 90.0))), [last], address="lines:-").run()
    assert len(last.view.values) == len(last.view.value_s) == MOST_NAMES + 1
    assert last.view.values.keys() >= {"fluid_c", f"x{5 * MOST_NAMES - 1}"}
