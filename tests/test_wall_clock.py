"""A computer whose clock is set while it records: told, and recorded with the reading."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.recording.invented import ABOUT, JOB, UTC_S
from warmwatch.app.session import Session
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Reading
from warmwatch.core.watch import Watch
from warmwatch.links.base import LinkItem
from warmwatch.outputs.base import Entry, Summary
from warmwatch.outputs.proof.facts import read_items
from warmwatch.recording.seal.report import SealState
from warmwatch.recording.seal.verify import verify_recording
from warmwatch.recording.writer import create
from warmwatch.words.view import View


class Link:
    """Ten readings, a second apart; from the sixth on the clock is `moved_s` off."""

    poll_s = None

    def __init__(self, moved_s: float, *, replay: bool = False) -> None:
        self.replay = replay
        self._moved_s = moved_s
        self._now_s = 0.0

    def describe(self) -> dict[str, object]:
        return {}

    def elapsed_s(self) -> float:
        return self._now_s

    def items(self) -> Iterator[LinkItem]:
        for n in range(10):
            self._now_s = float(n)
            moved_s = self._moved_s if n >= 5 else 0.0
            yield Reading(self._now_s, {"fluid_c": 50.0}, utc_s=UTC_S + n + moved_s)

    def close(self) -> None:
        pass


class Heard:
    """Keeps the notices."""

    def __init__(self) -> None:
        self.texts: list[str] = []

    def take(self, entry: Entry) -> None:
        if isinstance(entry, Notice):
            self.texts.append(entry.text)

    def show(self, view: View) -> None:
        pass

    def close(self, summary: Summary) -> None:
        pass


def run(link: Link, folder: Path) -> tuple[list[str], list[dict[str, str]]]:
    """Return what was told of the clock, and the doubts of each reading."""
    heard, recorder = Heard(), create(folder, JOB, "lines:-", ABOUT, UTC_S)
    Session(link, Watch(JOB), [heard], address="lines:-", recorder=recorder).run()
    assert verify_recording(recorder.path).state is SealState.INTACT
    items = [item for item in read_items(recorder.path) if isinstance(item, Reading)]
    assert len(items) == 10
    return [text for text in heard.texts if "clock" in text], [dict(i.doubts) for i in items]


@pytest.mark.parametrize(("moved_s", "words"), [(3600.0, "60 min"), (-90.0, "-90 s"), (5.5, "6 s")])
def test_a_clock_that_moves_is_told_and_recorded(
    tmp_path: Path, moved_s: float, words: str
) -> None:
    """Once, at the reading behind it; the temperature counts all the same."""
    told, doubts = run(Link(moved_s), tmp_path)
    assert len(told) == 1
    assert words in told[0]
    assert doubts == [{}] * 5 + [{"time": f"clock-moved moved_s={moved_s:g}"}] + [{}] * 4


def test_small_corrections_and_replays_say_nothing(tmp_path: Path) -> None:
    """A second is what time servers correct; what was recorded earlier was told then."""
    for link in (Link(1.0), Link(3600.0, replay=True)):
        told, doubts = run(link, tmp_path)
        assert (told, doubts) == ([], [{}] * 10)
