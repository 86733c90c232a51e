"""Reports unreadable things without flooding: the first at once, the others as a count."""

from collections.abc import Callable

from warmwatch.core.notice import Notice

TELL_EVERY_S = 30.0


class Tally:
    """Counts unreadable things of one kind, such as lines.

    `one` begins the first notice ("A line"), `noun` is counted later ("line"), `hint` says what to
    try and may be empty.
    """

    def __init__(self, one: str, noun: str, hint: str, now_s: Callable[[], float]) -> None:
        self._one = one
        self._noun = noun
        self._hint = hint
        self._now_s = now_s
        self._untold = 0
        self._last = ""
        self._told_s: float | None = None

    def seen(self, text: str, why: str) -> Notice | None:
        """Count one; return the notice of the very first."""
        if self._told_s is None:
            self._told_s = self._now_s()
            return Notice(
                f"{self._one} cannot be read and is left out: {_shown(text)} ({why}).{self._hint}"
            )
        self._untold += 1
        self._last = text
        return None

    def due(self, *, at_end: bool = False) -> list[Notice]:
        """Return the sum of what was not told yet, when it is time."""
        if not self._untold or self._told_s is None:
            return []
        if not at_end and self._now_s() - self._told_s < TELL_EVERY_S:
            return []
        count, self._untold, self._told_s = self._untold, 0, self._now_s()
        noun = self._noun if count == 1 else f"{self._noun}s"
        last = _shown(self._last)
        return [Notice(f"{count} more {noun} could not be read, the last one {last}.{self._hint}")]


def _shown(text: str) -> str:
    return repr(text if len(text) <= 60 else f"{text[:57]}...")
