"""The amounts of fluid on the proof: the ledger's rows and what its balance says."""

from warmwatch.core.level.fluid import BASE_C, volume_at
from warmwatch.core.level.ledger import Entry, at_15, balance, first_fill_l
from warmwatch.outputs.proof.facts import Facts
from warmwatch.words.events import clock, temperature
from warmwatch.words.proof import ACTS, balance_text, litres

FILL_C = 20.0


def ledger_heads(facts: Facts) -> list[str]:
    """Return the heads of the ledger's columns."""
    unit = facts.job.unit
    at = [temperature(celsius, unit) for celsius in (BASE_C, FILL_C, _check_c(facts))]
    return ["what", "as read", *(f"at {text}" for text in at)]


def ledger_row(facts: Facts, entry: Entry) -> list[str]:
    """Return one line of the ledger, at all temperatures."""
    rho, unit = facts.fluid.density_kg_m3, facts.job.unit
    shown = [volume_at(entry.litres, entry.temp_c, to_c, rho) for to_c in (FILL_C, _check_c(facts))]
    read = f"{litres(entry.litres)} ±{entry.litres_err:g} at {temperature(entry.temp_c, unit)}"
    degrees = entry.temp_err_c if unit == "C" else entry.temp_err_c * 1.8
    return [
        ACTS[entry.act],
        f"{read} ±{degrees:g}",
        litres(at_15(entry, facts.fluid)),
        *(litres(value) for value in shown),
    ]


def balance_lines(facts: Facts) -> list[str]:
    """Return what the balance says and how it was reckoned; nothing without any amount."""
    fluid = facts.fluid
    unread = [f"{one.mark.name} at {clock(one.mark.elapsed_s)}" for one in facts.unread]
    if not fluid.ledger and not unread:
        return []
    lines = [balance_text(balance(fluid), facts.outcome, unread)]
    first = first_fill_l(fluid, FILL_C)
    if first is not None:
        at = temperature(FILL_C, facts.job.unit)
        lines.append(f"What was drained takes up {litres(first)} at {at}.")
    if facts.fluid_later:
        lines.append("The amounts come from a job file given later, not from the recording.")
    if not fluid.ledger:
        return lines
    lines.append(
        f"Reckoned by API MPMS 11.1 / ASTM D1250 for lubricating oils with "
        f"{fluid.density_kg_m3:g} ±{fluid.density_err_kg_m3:g} kg/m³ at "
        f"{temperature(BASE_C, facts.job.unit)}; spreads are expanded uncertainties (k = 2)."
    )
    return lines


def _check_c(facts: Facts) -> float:
    check, band = facts.check, facts.job.band
    known = None if check is None else check.in_c if check.in_c is not None else check.out_c
    return (band.low_c + band.high_c) / 2.0 if known is None else known
