"""When, not only what: clocks that ran back, and signatures dated before what they sign."""

from datetime import datetime

SLACK_S = 2.0
REFUSED_S = 24 * 3600.0
"""Nobody signs with a clock that is so far behind; less is told (the demo runs ahead of time)."""
MOST_TOLD = 3


class Clock:
    """Follows the wall times of a recording's rows."""

    def __init__(self) -> None:
        self._latest_s: float | None = None
        self._steps: list[tuple[int, float]] = []

    def row(self, number: int, utc_s: float | None) -> None:
        """Take a row's wall time, None where it has none."""
        if utc_s is None:
            return
        if self._latest_s is not None and utc_s < self._latest_s - SLACK_S:
            self._steps.append((number, self._latest_s - utc_s))
        self._latest_s = utc_s

    @property
    def remarks(self) -> tuple[str, ...]:
        """What is to be told."""
        told = [
            f"the computer's clock ran back by {back_s:.0f} s at row {number}"
            for number, back_s in self._steps[:MOST_TOLD]
        ]
        more = len(self._steps) - len(told)
        return (*told, f"and {more} times more") if more else tuple(told)


def early_s(ended_s: float | None, time: str) -> float:
    """Return by how many seconds a signature of that time comes before the end of what it signs."""
    signed_s = seconds(time)
    return 0.0 if signed_s is None or ended_s is None else max(0.0, ended_s - signed_s)


def signing_remarks(ended_s: float | None, time: str) -> tuple[str, ...]:
    """Return what is wrong with the date of a signature; empty where nothing is."""
    if seconds(time) is None:
        return (f"the time of its signature cannot be read: {time!r}",)
    before_s = early_s(ended_s, time)
    if before_s <= SLACK_S:
        return ()
    hours = before_s / 3600.0
    return (f"IT WAS SIGNED ON {time}, {hours:.1f} h BEFORE ITS OWN END: a clock is not right",)


def seconds(time: str) -> float | None:
    """Return an ISO 8601 time as seconds since 1970; None when it is none with its zone."""
    try:
        moment = datetime.fromisoformat(time.replace("Z", "+00:00"))
    except ValueError:
        return None
    return None if moment.tzinfo is None else moment.timestamp()
