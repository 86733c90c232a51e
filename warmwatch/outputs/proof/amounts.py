"""The amounts of fluid on the proof: the ledger's rows and what its balance says."""

from warmwatch.core.level.amounts import FILL_C
from warmwatch.core.level.ledger import Act, Entry, balance, shown_unit
from warmwatch.outputs.proof.visit import Visit
from warmwatch.words.amounts import (
    act_name,
    balance_text,
    ledger_cells,
    ledger_columns,
    reckoned_text,
    spread_text,
    takes_up_text,
)
from warmwatch.words.catalogue import clock, mark_name, phrase


def ledger_heads(visit: Visit) -> list[str]:
    """Return the heads of the ledger's columns."""
    return ledger_columns(_check_c(visit), FILL_C, visit.job.unit)


def ledger_row(visit: Visit, entry: Entry) -> list[str]:
    """Return one line of the ledger, at all temperatures."""
    shown = ledger_cells(entry, visit.fluid, _check_c(visit), FILL_C)
    return [act_name(entry.act), spread_text(entry, visit.job.unit), *shown]


def balance_lines(visit: Visit) -> list[str]:
    """Return what the balance says and how it was calculated; nothing without any amount."""
    fluid, unit = visit.fluid, visit.job.unit
    unread = [
        phrase("balance.mark", mark=mark_name(one.mark.name), clock=clock(one.mark.elapsed_s))
        for _, one in visit.unread
    ]
    if not fluid.ledger and not unread:
        return []
    lines = [
        balance_text(
            balance(fluid),
            visit.verdict.outcome,
            unread,
            shown_unit(fluid),
            ran_out=_ran_out(visit),
        )
    ]
    if text := takes_up_text(fluid, unit):
        lines.append(text)
    if visit.later.fluid is not None:
        lines.append(phrase("balance.later"))
    return [*lines, reckoned_text(fluid, unit)] if fluid.ledger else lines


def _ran_out(visit: Visit) -> bool:
    """Whether a stream was told at a check, and no amount of it."""
    streamed = any(check.streamed for facts in visit.recordings for check in facts.checks)
    return streamed and not any(entry.act is Act.LET_OUT for entry in visit.fluid.ledger)


def _check_c(visit: Visit) -> float:
    check, band = visit.check, visit.job.band
    known = None if check is None else check.in_c if check.in_c is not None else check.out_c
    return (band.low_c + band.high_c) / 2.0 if known is None else known
