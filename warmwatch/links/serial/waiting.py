"""How long a text adapter waits for a unit: its own timeout, raised for units that answer late.

`ATST` and two hex digits set it in steps of 4 ms, 1.02 s at most; 200 ms is the usual one (both
from memory of the common command set, no source).
"""

import math
from collections.abc import Callable, Generator

from warmwatch.core.notice import Notice
from warmwatch.links.asking.patience import Patience
from warmwatch.links.asking.request import Request, RequestOutcome
from warmwatch.links.asking.units import Unit
from warmwatch.links.serial.adapter import Word
from warmwatch.links.serial.talk import Wish

STEP_S, MOST_STEPS, USUAL_STEPS = 0.004, 0xFF, 0x32
USUAL_S = STEP_S * USUAL_STEPS
LATE_S = 0.9
"""Taken for how long a unit took whose answer came only after a longer wait."""
PROMPT_S = 2.0
"""A prompt comes within this time, and the adapter's own wait."""

Commanded = Callable[[str], Generator[Wish, str | None, frozenset[Word]]]


class Waiting:
    """Raises and lowers the adapter's timeout as `patience` says for each request.

    `always`: the user gave the wait, so that the adapter is told in any case.
    """

    def __init__(self, patience: Patience, *, always: bool = False) -> None:
        self._patience = patience
        self._steps = 0 if always else USUAL_STEPS
        self._known = True
        self._said: set[Unit] = set()

    @property
    def prompt_s(self) -> float:
        """How long to wait for the prompt."""
        return PROMPT_S + max(0.0, self._steps * STEP_S - USUAL_S)

    def set_for(self, request: Request, commanded: Commanded) -> Generator[Wish, str | None, int]:
        """Set the timeout for a request; return how often to ask until the wait is over."""
        wait_s = self._patience.wait_s(request)
        steps = min(MOST_STEPS, math.ceil(round(wait_s / STEP_S, 6)))
        if steps != self._steps and self._known:
            words = yield from commanded(f"ATST{steps:02X}")
            self._known = Word.UNKNOWN not in words
            self._steps = steps if Word.OK in words else self._steps
            if not self._known:
                yield Notice(
                    "This adapter cannot be told to wait longer: it may miss a unit that "
                    "answers late."
                )
        waits_s = self._steps * STEP_S or USUAL_S
        return max(1, math.ceil(round(wait_s / waits_s - 0.5, 6)))

    def heard(
        self, request: Request, outcome: RequestOutcome, asked: int
    ) -> Generator[Wish, str | None, None]:
        """Learn from an answer that came only because this request waited longer.

        `asked` counts how often it was put until then.
        """
        took_s = LATE_S + (asked - 1) * MOST_STEPS * STEP_S
        if request.patient:
            news = [unit for unit in outcome.spoke if not self._patience.is_late(unit)]
            yield from self._patience.heard(dict.fromkeys(news, took_s))

    def asked_for_time(self, outcome: RequestOutcome) -> Generator[Wish, str | None, None]:
        """A unit said that it is still working, and the adapter did not wait for it."""
        for unit in outcome.refusals:
            if unit not in self._said:
                self._said.add(unit)
                self._patience.late(unit, LATE_S)
                yield Notice(
                    f"{unit.label} asks for time (code 78) and the adapter did not wait. It now "
                    f"has to wait up to {MOST_STEPS * STEP_S:.1f} s (answer= sets the wait)."
                )
