"""`warmwatch link log:FILE --find-temperature`: searches in what another tester asked for."""

from pathlib import Path

import click

from warmwatch.analysis.finding.candidate import Candidate
from warmwatch.analysis.finding.rank import rank
from warmwatch.app.overhear import Gathered, gather
from warmwatch.app.search import Found
from warmwatch.commands.find_plan import Plan
from warmwatch.commands.find_temperature import show_found
from warmwatch.errors import LinkError, UsageError
from warmwatch.links.address import Address
from warmwatch.links.asking.units import Unit

BEGIN = """\
Listens only: nothing is asked.
What another tester reads by service {service:02X} is gathered{until}.
"""
NOTHING = (
    "{frames} frames went by, and nobody asked for identifiers of service {service:02X} "
    "and got an answer: let the other tester show its live data while the vehicle warms up."
)
TOLD_EVERY_S = 60.0


def overhear_temperature(
    address: Address, plan: Plan, *, every: bool, out: str | None, as_json: bool
) -> int:
    """Listen, rank and print; return the exit code. `every`: no range was given."""
    if out is not None and Path(out).exists():
        raise UsageError(f"{out} is there already: name another file with --out.")
    until = "" if address.about_kind.replay else f" for {plan.minutes:g} min; Ctrl-C ends it early"
    click.echo(BEGIN.format(until=until, service=plan.service), err=True, nl=False)
    gathered = Gathered(plan.service, None if every else plan.identifiers)
    if plan.air_c is not None:
        gathered.told_air(plan.air_c)
    stopped = _listen(address, plan.minutes * 60.0, gathered)
    unit, found, candidates = _best(gathered, plan.target)
    if unit is None:
        raise LinkError(stopped or NOTHING.format(frames=gathered.frames, service=plan.service))
    return show_found(address, plan, unit, found, candidates, stopped, out, as_json)


def _listen(address: Address, seconds: float, gathered: Gathered) -> str:
    """Return why it ended early, or an empty text."""
    told_s = 0.0
    try:
        for at_s in gather(address, seconds, gathered):
            if at_s - told_s >= TOLD_EVERY_S:
                told_s = at_s
                count = sum(len(found.samples) for found in gathered.units.values())
                click.echo(f"{at_s / 60:.0f} min, {count} identifiers", err=True)
    except KeyboardInterrupt:
        click.echo("Ended early.", err=True)
    except LinkError as error:
        return str(error)
    return ""


def _best(gathered: Gathered, target: int | None) -> tuple[Unit | None, Found, list[Candidate]]:
    """Return the unit with the likeliest candidate, of those that were asked at `target`."""
    ranked = [
        (unit, found, rank(found.samples, found.surroundings))
        for unit, found in sorted(gathered.units.items(), key=lambda pair: pair[0])
        if target is None or target in (unit.request_id, unit.request_id >> 8 & 0xFF)
    ]
    if not ranked:
        return None, Found(), []
    return max(ranked, key=lambda one: one[2][0].score if one[2] else 0.0)
