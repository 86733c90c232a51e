"""`warmwatch link [ADDRESS]`: finds adapters, tries a link, searches for the fluid's identifier."""

import json
from collections.abc import Iterable
from dataclasses import asdict

import click

from warmwatch.commands.extended import agreed
from warmwatch.commands.step_line import step_line
from warmwatch.links.address import Address, parse_address
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.links.trying.trial import try_link

CAUTION = (
    "Engine running only outdoors or with extraction: exhaust gas kills. Secure the vehicle "
    "against rolling. warmwatch only reads."
)


@click.command("link")
@click.argument("address", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option(
    "--unit", type=click.Choice(["C", "F"]), default="C", help="For temperatures [default: C]."
)
@click.option(
    "--find-temperature",
    "find",
    metavar="FROM:TO",
    is_flag=False,
    flag_value="",
    help="Search these identifiers (hex) for the fluid's temperature "
    "[default: 1000:12FF, or 00:FF of service 21].",
)
@click.option(
    "--service",
    type=click.Choice(["22", "21"]),
    default="22",
    help="Search among common (22) or local (21) identifiers [default: 22].",
)
@click.option(
    "--unit-address",
    metavar="HEX",
    help="The control unit to search, such as 7E1 [default: the second that answers].",
)
@click.option("--air", metavar="TEMPERATURE", help="Of the air where the vehicle stood: 18 or 64F.")
@click.option(
    "--minutes", type=float, default=10.0, help="How long to watch the warm-up [default: 10]."
)
@click.option(
    "--rate",
    type=float,
    default=4.0,
    help="Requests a second at most while searching [default: 4].",
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False),
    help="Write the signal file there; never over an existing one.",
)
@click.option("--yes", is_flag=True, help="Do not ask before searching.")
def command(
    address: str | None,
    as_json: bool,
    unit: str,
    find: str | None,
    service: str,
    unit_address: str | None,
    air: str | None,
    minutes: float,
    rate: float,
    out: str | None,
    yes: bool,
) -> int:
    """Try the link ADDRESS and say, step by step, what it sees.

    Without ADDRESS it looks at each port of this computer and says what is there. Exits with 0
    when every step went well, with 1 when one failed.
    """
    click.echo(CAUTION, err=True)
    if address is None:
        from warmwatch.commands.found import show_found

        return show_found(as_json, unit)
    where = parse_address(address)
    if find is None:
        where = agreed(where)
        return show_steps(where, try_link(where, unit=unit), as_json, unit)
    from warmwatch.commands.find_plan import Plan
    from warmwatch.commands.find_temperature import find_temperature

    plan = Plan.of(find, unit_address, minutes, rate, air, int(service, 16))
    if where.about_kind.frames:
        from warmwatch.commands.overhear_temperature import overhear_temperature

        return overhear_temperature(where, plan, every=not find, out=out, as_json=as_json)
    return find_temperature(where, plan, out=out, as_json=as_json, ask_first=not yes)


def show_steps(address: Address, steps: Iterable[Step], as_json: bool, unit: str = "C") -> int:
    """Print steps as they come, or one object at the end; return the exit code."""
    taken = []
    for step in steps:
        taken.append(step)
        if not as_json:
            click.echo(step_line(step, unit))
    failed = any(step.state is StepState.FAILED for step in taken)
    state = StepState.FAILED if failed else StepState.OK
    if as_json:
        content = {"address": str(address), "state": state, "steps": [asdict(s) for s in taken]}
        click.echo(json.dumps(content, ensure_ascii=False))
    return 1 if failed else 0
