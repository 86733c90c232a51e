"""The amounts of fluid on the proof: the ledger's rows and what its balance says."""

from warmwatch.core.level.amounts import FILL_C
from warmwatch.core.level.fluid import BASE_C
from warmwatch.core.level.ledger import Entry, balance, first_fill_l, shown_unit
from warmwatch.outputs.proof.visit import Visit
from warmwatch.words.amounts import (
    ACTS,
    balance_text,
    ledger_cells,
    ledger_columns,
    spread_text,
    volume_text,
)
from warmwatch.words.events import clock, temperature


def ledger_heads(visit: Visit) -> list[str]:
    """Return the heads of the ledger's columns."""
    return ledger_columns(_check_c(visit), FILL_C, visit.job.unit)


def ledger_row(visit: Visit, entry: Entry) -> list[str]:
    """Return one line of the ledger, at all temperatures."""
    shown = ledger_cells(entry, visit.fluid, _check_c(visit), FILL_C)
    return [ACTS[entry.act], spread_text(entry, visit.job.unit), *shown]


def balance_lines(visit: Visit) -> list[str]:
    """Return what the balance says and how it was reckoned; nothing without any amount."""
    fluid, volume = visit.fluid, shown_unit(visit.fluid)
    unread = [f"{one.mark.name} at {clock(one.mark.elapsed_s)}" for _, one in visit.unread]
    if not fluid.ledger and not unread:
        return []
    lines = [balance_text(balance(fluid), visit.verdict.outcome, unread, volume)]
    first = first_fill_l(fluid, FILL_C)
    if first is not None:
        at = temperature(FILL_C, visit.job.unit)
        lines.append(f"What was drained takes up {volume_text(first, volume)} at {at}.")
    if visit.later.fluid is not None:
        lines.append("The amounts come from a job file given later, not from the recording.")
    if not fluid.ledger:
        return lines
    lines.append(
        f"Reckoned by API MPMS 11.1 / ASTM D1250 for lubricating oils with "
        f"{fluid.density_kg_m3:g} ±{fluid.density_err_kg_m3:g} kg/m³ at "
        f"{temperature(BASE_C, visit.job.unit)}; spreads are expanded uncertainties (k = 2)."
    )
    return lines


def _check_c(visit: Visit) -> float:
    check, band = visit.check, visit.job.band
    known = None if check is None else check.in_c if check.in_c is not None else check.out_c
    return (band.low_c + band.high_c) / 2.0 if known is None else known
