"""One visit: all its recordings together, with one ledger and one verdict."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from warmwatch.core.job import Job
from warmwatch.core.level.amounts import (
    fluid_from_mapping,
    fluid_to_mapping,
    is_amount,
    mark_entry,
)
from warmwatch.core.level.check import Check
from warmwatch.core.level.ledger import FluidData
from warmwatch.core.level.verdict import LevelVerdict, together
from warmwatch.core.paperwork import (
    Shop,
    Work,
    section_to_mapping,
    shop_from_mapping,
    work_from_mapping,
)
from warmwatch.errors import RecordingError
from warmwatch.outputs.proof.facts import Facts, ToldMark, facts_of


@dataclass(frozen=True, slots=True)
class Later:
    """What a job file given with the proof says; None where it says nothing."""

    fluid: FluidData | None = None
    shop: Shop | None = None
    work: Work | None = None


NOTHING_LATER = Later()


def later_from_mapping(mapping: Mapping[str, Any], unit: str = "C") -> Later:
    """Return the sections of a job file; ValueError names the section and the key."""
    return Later(
        _section("fluid", mapping, lambda section: fluid_from_mapping(section, unit)),
        _section("shop", mapping, shop_from_mapping),
        _section("work", mapping, work_from_mapping),
    )


def _section(name: str, mapping: Mapping[str, Any], read: Any) -> Any:
    section = mapping.get(name)
    if section is None:
        return None
    if not isinstance(section, Mapping):
        raise ValueError(f"{name}: a section is needed, as [{name}]")
    try:
        return read(section)
    except ValueError as error:
        raise ValueError(f"{name}: {error}") from None


def later_to_mapping(later: Later) -> dict[str, Any]:
    """Return what was given later as JSON values; `later_from_mapping` reads it back."""
    found: dict[str, Any] = {}
    if later.fluid is not None:
        found["fluid"] = fluid_to_mapping(later.fluid)
    if later.shop is not None:
        found["shop"] = section_to_mapping(later.shop)
    if later.work is not None:
        found["work"] = section_to_mapping(later.work)
    return found


@dataclass(frozen=True, slots=True)
class Visit:
    """The recordings of one visit, oldest first, and what they give together."""

    recordings: tuple[Facts, ...]
    fluid: FluidData
    later: Later = NOTHING_LATER

    @property
    def decisive(self) -> Facts:
        """The recording that holds the check that counts; the last one where there is none."""
        checked = [facts for facts in self.recordings if facts.checks]
        return (checked or self.recordings)[-1]

    @property
    def job(self) -> Job:
        """The job of that recording, with what was told later."""
        job = self.decisive.job
        return replace(job, shop=self.later.shop or job.shop, work=self.later.work or job.work)

    @property
    def check(self) -> Check | None:
        """The last check: that is the one that counts."""
        return self.decisive.checks[-1] if self.decisive.checks else None

    @property
    def verdict(self) -> LevelVerdict:
        """What the visit shows about the level."""
        return together(facts.verdict for facts in self.recordings)

    @property
    def unread(self) -> tuple[tuple[Facts, ToldMark], ...]:
        """The marks that belong into the ledger, but from which no amount could be read."""
        if self.later.fluid is not None or self.decisive.job.fluid.ledger:
            return ()
        return tuple(
            (facts, one)
            for facts in self.recordings
            for one in facts.told
            if is_amount(one.mark)
            and not one.withdrawn
            and mark_entry(one.mark, one.fluid_c, facts.job.unit) is None
        )


def gather(*paths: Path, later: Later = NOTHING_LATER) -> Visit:
    """Return the visit that these recordings make.

    RecordingError when one was changed, or when they are not of one vehicle and one band.
    """
    found = sorted((facts_of(path) for path in paths), key=lambda f: f.trace.utc_s or 0.0)
    _fit_together(found)
    visit = Visit(tuple(found), FluidData(), later)
    return replace(visit, fluid=_fluid(visit))


def _fit_together(found: Sequence[Facts]) -> None:
    first = found[0]
    for other in found[1:]:
        if (other.job.vehicle, other.job.band) != (first.job.vehicle, first.job.band):
            raise RecordingError(
                f"{other.path.name} and {first.path.name} are not of one visit: vehicle and band "
                "must be the same."
            )
    if len({facts.path.name for facts in found}) < len(found):
        raise RecordingError(f"Two recordings are called {first.path.name}: name each one once.")


def _fluid(visit: Visit) -> FluidData:
    """Return the amounts: those told later, else the job's own ledger, else all marks."""
    if visit.later.fluid is not None:
        return visit.later.fluid
    fluid = visit.decisive.job.fluid
    if fluid.ledger:
        return fluid
    entries = (
        mark_entry(one.mark, one.fluid_c, facts.job.unit)
        for facts in visit.recordings
        for one in facts.told
        if not one.withdrawn
    )
    return replace(fluid, ledger=tuple(entry for entry in entries if entry is not None))
