"""`warmwatch link ADDRESS --find-temperature`: which identifier gives the fluid's temperature?"""

import json
from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path

import click

from warmwatch.analysis.finding.candidate import Candidate
from warmwatch.analysis.finding.pairing import why_not_clear
from warmwatch.analysis.finding.rank import DOUBT, rank
from warmwatch.app.search import Found, Search, SearchStopped, unit_to_search
from warmwatch.commands.find_plan import Plan
from warmwatch.commands.step_line import step_line
from warmwatch.errors import LinkError, LinkLost, UsageError
from warmwatch.links.address import Address
from warmwatch.links.asking.silent import VehicleSilent
from warmwatch.links.asking.units import Unit
from warmwatch.links.trying.asker import Asker, open_again, open_asker

SHOWN = 5
PROGRESS_EVERY = 64

WARNING = """\
This asks unit {unit} for {count} identifiers ({first:04X} to {last:04X}), about {minutes:.0f} min,
then watches those that answer for {watch:g} min while the vehicle warms up.
- It only reads (service {service:02X}), one request at a time, and stops at the first sign of
  trouble. Even so, a control unit may not like questions it does not know. Do not do this on a
  vehicle that you cannot do without.
- The vehicle stands on level ground, in park, secured against rolling; battery in order.
- Best after standing over night: then the fluid starts at the temperature of the air.
- Start the engine when the watching begins, outdoors or with extraction: exhaust gas kills.
"""

# 7E1 and 18: common practice, no source.
SILENT = (
    "Where all that is well, the vehicle may know service 22 only: name the gearbox unit with "
    "--unit-address, often 7E1 (11 bits) or 18 (29 bits)."
)
NONE = (
    "{count} identifiers answered and changed, and none behaved like the fluid's temperature: try "
    "another range or unit, from a colder start, for longer."
)
MUTE_AFTER = 16
MUTE = (
    "{unit} has said nothing to {count} identifiers, not even that it does not know them: is the "
    "ignition on, and is that its address (--unit-address)?"
)
ONLY_ONE = """\
Only {unit} answers the standard's questions, which is likely the engine's unit. A gearbox unit that
does not answer those is often found with --unit-address 7E1 (11 bits) or 18 (29 bits).
"""


def find_temperature(
    address: Address, plan: Plan, *, out: str | None, as_json: bool, ask_first: bool
) -> int:
    """Search, watch, rank and print; return the exit code."""
    if out is not None and Path(out).exists():
        raise UsageError(f"{out} is there already: name another file with --out.")
    asker = _opened(address, plan.target)
    search: Search | None = None
    try:
        unit = unit_to_search(asker, plan.target)
        if unit is None:
            raise LinkError("No unit answers: name one with --unit-address, such as 7E1.")
        if plan.target is None and len(asker.units) == 1:
            click.echo(ONLY_ONE.format(unit=unit.label), err=True)
        if not _agreed(plan, unit, ask_first):
            click.echo("Nothing was asked.", err=True)
            return 1
        search = Search(
            asker,
            unit,
            plan.rate,
            reopen=lambda lost: _again(address, unit, lost),
            service=plan.service,
        )
        if plan.air_c is not None:
            search.found.air_c.append(plan.air_c)
        found, stopped = _searched(search, plan, unit)
    finally:
        (asker if search is None else search.asker).close()
    candidates = rank(found.samples, found.surroundings)
    return show_found(address, plan, unit, found, candidates, stopped, out, as_json)


def show_found(
    address: Address,
    plan: Plan,
    unit: Unit,
    found: Found,
    candidates: Sequence[Candidate],
    stopped: str,
    out: str | None,
    as_json: bool,
) -> int:
    """Print what was found, write the signal file of a clear one; return the exit code."""
    unclear = why_not_clear(candidates, found.surroundings)
    text = "" if unclear else signal_file(candidates[0], unit, address.kind, plan.service)
    if as_json:
        click.echo(json.dumps(_content(address, unit, found, candidates, text, stopped)))
    else:
        _print(found, candidates, unclear, stopped, plan.service)
    if text and out is None and not as_json:
        click.echo(f"\nA signal file of the best one:\n\n{text}", nl=False)
    if text and out is not None:
        Path(out).write_text(text, encoding="utf-8")
        click.echo(
            f"Written to {out}. Try it: warmwatch link '{_with_signals(address, out)}'", err=True
        )
    return 0 if text and not stopped else 1


def _opened(address: Address, target: int | None) -> Asker:
    try:
        return open_asker(address, lambda step: click.echo(step_line(step), err=True), target)
    except VehicleSilent as error:
        raise LinkError(f"{error} {SILENT}") from error


def _agreed(plan: Plan, unit: Unit, ask_first: bool) -> bool:
    count = len(plan.identifiers)
    text = WARNING.format(
        unit=unit.label,
        count=count,
        first=plan.first,
        last=plan.last,
        minutes=max(1.0, count / plan.rate / 60),
        watch=plan.minutes,
        service=plan.service,
    )
    click.echo(text, err=True)
    return not ask_first or click.confirm("Go on?", err=True)


def _again(address: Address, unit: Unit, lost: LinkLost) -> Asker:
    click.echo(f"{lost} Opening it again for up to a minute.", err=True)
    return open_again(lambda: open_asker(address, lambda _: None, unit.request_id))


def _searched(search: Search, plan: Plan, unit: Unit) -> tuple[Found, str]:
    """Return what was found, and why it ended early (an empty text when it did not)."""
    try:
        for asked, answered in search.sweep(plan.identifiers):
            if asked % PROGRESS_EVERY == 0 or asked == len(plan.identifiers):
                click.echo(f"{asked} asked, {answered} answer", err=True)
            if asked == MUTE_AFTER and not search.spoken:
                click.echo(MUTE.format(unit=unit.label, count=asked), err=True)
        if not search.spoken:
            raise SearchStopped(MUTE.format(unit=unit.label, count=len(plan.identifiers)))
        if search.found.samples:
            click.echo("Watching. Start the engine now; Ctrl-C ends it early.", err=True)
            _watched(search, plan.minutes * 60)
    except (SearchStopped, LinkError) as error:
        return search.found, str(error)
    return search.found, ""


def _watched(search: Search, seconds: float) -> None:
    told = 0
    try:
        for share in search.watch(seconds):
            if int(share * 10) > told:
                told = int(share * 10)
                click.echo(f"{told * 10} % of the time, {len(search.found.samples)} left", err=True)
    except KeyboardInterrupt:
        click.echo("Ended early.", err=True)


def _print(
    found: Found, candidates: Sequence[Candidate], unclear: str, stopped: str, service: int
) -> None:
    if stopped:
        click.echo(stopped)
    if not candidates:
        if not stopped:
            click.echo(NONE.format(count=len(found.samples)))
        return
    if unclear:
        click.echo(f"None is clear: {unclear}. Best first:")
    else:
        click.echo("Best first; a high score is evidence, no proof:")
    for number, one in enumerate(candidates[:SHOWN], start=1):
        click.echo(
            f"{number}. {_ask(service, one.identifier)} byte {one.first_byte}, {one.scale}: score "
            f"{one.score:.2f}, {one.start_c:g} to {one.end_c:g} °C"
        )
        for words in one.evidence:
            click.echo(f"     {words}")
    if not unclear and any(words.startswith(DOUBT) for words in candidates[0].evidence):
        click.echo(
            "The scale is in doubt: measure the warm fluid with a thermometer, and take the scale "
            "that agrees."
        )


def _ask(service: int, identifier: int) -> str:
    return f"{service:02X} {identifier:0{4 if service == 0x22 else 2}X}"


def signal_file(candidate: Candidate, unit: Unit, kind: str, service: int = 0x22) -> str:
    """Return a signal file of one candidate, marked as found and not confirmed."""
    scale = candidate.scale
    target = unit.request_id
    evidence = "".join(f"# - {words}\n" for words in candidate.evidence)
    return f"""\
# Found by a search on {date.today().isoformat()} over {kind}:, NOT confirmed.
# Confirm it against the service information of the vehicle, or with a thermometer, before a level
# is set by it. Evidence (score {candidate.score:.2f} of 1):
{evidence}
title = "found, to be confirmed"

[[signal]]
name = "fluid_c"
service = 0x{service:02X}
identifier = 0x{candidate.identifier:0{4 if service == 0x22 else 2}X}
first_byte = {candidate.first_byte}
length = {scale.length}
record_length = {candidate.record_length}
signed = {str(scale.signed).lower()}
scale = {scale.factor!r}
offset = {scale.offset!r}
unit = "{scale.unit}"
target = 0x{target:X}
source = "found by a search; to be confirmed against the service information"
"""


def _content(
    address: Address,
    unit: Unit,
    found: Found,
    candidates: Sequence[Candidate],
    text: str,
    stopped: str,
) -> dict[str, object]:
    return {
        "address": str(address),
        "unit": unit.label,
        "answered": [f"{identifier:04X}" for identifier in sorted(found.samples)],
        "candidates": [asdict(one) for one in candidates],
        "signal_file": text or None,
        "stopped": stopped or None,
    }


def _with_signals(address: Address, path: str) -> str:
    options = {**address.options, "signals": path}
    return str(Address(address.kind, address.rest, options))
