"""Answers a mark that tells an amount: what was understood, and what to put in first."""

from collections import deque
from dataclasses import replace

from warmwatch.core.job import Job
from warmwatch.core.level.amounts import is_too_large, mark_entry
from warmwatch.core.level.ledger import Act, Entry
from warmwatch.core.level.marks import taken_back
from warmwatch.core.reading import Mark, MarkName
from warmwatch.words.amounts import put_in_first, understood_text

KEPT = 200


class Amounts:
    """Keeps the amounts told in one watch; a mark that was withdrawn counts no more."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._told: deque[tuple[Mark, Entry | None]] = deque(maxlen=KEPT)

    def answer(self, mark: Mark, fluid_c: float | None) -> str:
        """Return what was understood of a mark; empty where it tells no amount.

        `fluid_c` is the fluid's temperature, None where it is not known.
        """
        entry = mark_entry(mark, fluid_c, self._job.unit)
        before = self._standing()
        self._told.append((mark, entry))
        if mark.name is MarkName.WITHDRAW:
            return self._first() if self._standing() != before else ""
        if entry is None:
            return ""
        text = understood_text(entry, self._job.unit)
        asked = is_too_large(entry.litres, self._job.fluid.capacity_l)
        return text if asked or entry.act is not Act.DRAINED else f"{text} {self._first()}".strip()

    def _standing(self) -> tuple[Entry, ...]:
        gone = taken_back([mark for mark, _ in self._told])
        pairs = zip(self._told, gone, strict=True)
        return tuple(entry for (_, entry), back in pairs if entry is not None and not back)

    def _first(self) -> str:
        fluid = self._job.fluid
        ledger = (*fluid.ledger, *self._standing())[-50:]
        return put_in_first(replace(fluid, ledger=ledger), self._job.unit)
