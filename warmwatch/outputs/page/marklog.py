"""The marks of a watch as the page lists them, with what was taken back."""

from collections import deque
from dataclasses import dataclass

from warmwatch.core.level.marks import taken_back
from warmwatch.core.reading import Mark, MarkName
from warmwatch.outputs.page.orders import MarkSet
from warmwatch.words.catalogue import clock, mark_name, phrase

KEPT = 40
"""So many are shown."""
KEPT_MARKS = 200
CLASH_S = 2.0
CLASH_SHOWN_S = 20.0
_OPPOSITE = frozenset(
    {
        frozenset({MarkName.PLUG_OUT, MarkName.PLUG_IN}),
        frozenset({MarkName.STREAM, MarkName.NO_DRIP}),
        frozenset({MarkName.DRIP, MarkName.NO_DRIP}),
        frozenset({MarkName.STREAM, MarkName.DRIP}),
    }
)


@dataclass(frozen=True, slots=True)
class Line:
    """One mark; `key` tells it from every other of the watch."""

    key: str
    name: MarkName
    note: str
    elapsed_s: float
    withdrawn: bool = False


class MarkLog:
    """Follows the marks; which were taken back is for the core to say."""

    def __init__(self) -> None:
        self._marks: deque[Mark] = deque(maxlen=KEPT_MARKS)
        self._dropped = 0

    def take(self, mark: Mark) -> None:
        """Take one mark, in the order they happen."""
        if mark.name is not MarkName.ACKNOWLEDGE:
            self._dropped += len(self._marks) == KEPT_MARKS
            self._marks.append(mark)

    def lines(self) -> tuple[Line, ...]:
        """Return the latest marks, oldest first."""
        told = enumerate(zip(self._marks, taken_back(self._marks), strict=True), self._dropped)
        return tuple(
            Line(f"{number}-{mark.name}", mark.name, mark.note, mark.elapsed_s, gone)
            for number, (mark, gone) in told
            if mark.name is not MarkName.WITHDRAW
        )[-KEPT:]


def log_message(log: tuple[Line, ...]) -> dict[str, object]:
    """Return what the page shows of the marks: all, the last that stands, and when each was set."""
    standing = [line for line in log if not line.withdrawn]
    return {
        "log": [_line(line) for line in log],
        "last": _line(standing[-1]) if standing else None,
        "marks": {str(line.name): clock(line.elapsed_s) for line in standing},
    }


def _line(line: Line) -> dict[str, object]:
    return {
        "key": line.key,
        "name": str(line.name),
        "note": line.note,
        "clock": clock(line.elapsed_s),
        "withdrawn": line.withdrawn,
    }


class Clash:
    """Notices that two phones marked what cannot both be meant, within CLASH_S."""

    def __init__(self) -> None:
        self._last: tuple[MarkSet, float] | None = None
        self._clash: tuple[str, float] | None = None

    def take(self, mark: MarkSet, now_s: float) -> None:
        """Take a mark as it came from a phone."""
        before, self._last = self._last, (mark, now_s)
        if before is None or now_s - before[1] > CLASH_S or before[0].browser == mark.browser:
            return
        if frozenset({before[0].name, mark.name}) in _OPPOSITE:
            first, second = mark_name(before[0].name), mark_name(mark.name)
            text = phrase("page.clash", first=first, second=second)
            self._clash = (text, now_s)

    def text(self, now_s: float) -> str:
        """Return what is to be said of it, nothing once it was shown for a while."""
        if self._clash is None or now_s - self._clash[1] > CLASH_SHOWN_S:
            return ""
        return self._clash[0]
