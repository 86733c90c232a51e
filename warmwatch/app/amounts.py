"""Answers a mark that tells an amount: what was understood, and what to put in first."""

from dataclasses import replace

from warmwatch.core.job import Job
from warmwatch.core.level.amounts import mark_entry
from warmwatch.core.level.ledger import Act, Entry
from warmwatch.core.reading import Mark, MarkName
from warmwatch.words.amounts import put_in_first, understood_text


class Amounts:
    """Keeps the amounts told in one watch; a mark that was withdrawn counts no more."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._told: list[Entry | None] = []

    def answer(self, mark: Mark, fluid_c: float | None) -> str:
        """Return what was understood of a mark; empty where it tells no amount.

        `fluid_c` is the fluid's temperature, None where it is not known.
        """
        if mark.name is MarkName.ACKNOWLEDGE:
            return ""
        if mark.name is MarkName.WITHDRAW:
            taken_back = self._told.pop() if self._told else None
            return self._first() if taken_back is not None else ""
        entry = mark_entry(mark, fluid_c, self._job.unit)
        self._told.append(entry)
        if entry is None:
            return ""
        text = understood_text(entry, self._job.unit)
        return f"{text} {self._first()}".strip() if entry.act is Act.DRAINED else text

    def _first(self) -> str:
        told = tuple(entry for entry in self._told if entry is not None)
        fluid = self._job.fluid
        return put_in_first(replace(fluid, ledger=(*fluid.ledger, *told)[-50:]), self._job.unit)
