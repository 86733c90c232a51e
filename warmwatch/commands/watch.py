"""`warmwatch watch LINK`: the whole act of waiting for the band."""

import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from warmwatch.analysis.learned import load_prior
from warmwatch.app.confirm import confirm_band
from warmwatch.app.keeping import KeptLink
from warmwatch.app.keyboard.terminal import parse_keys
from warmwatch.app.known import Known, look_up
from warmwatch.app.same_visit import going_on, join_visit, proposal
from warmwatch.app.session import Until
from warmwatch.app.wiring import PageOptions, WatchOptions, run_watch, tell
from warmwatch.commands.cautions import Acknowledged, acknowledge_loading
from warmwatch.commands.extended import agreed
from warmwatch.commands.key import checkpoint_key
from warmwatch.commands.options import JobFile, make_job, origins, with_check, with_columns
from warmwatch.commands.watch_given import Given
from warmwatch.core.forecast.prior import Prior
from warmwatch.core.job import Job
from warmwatch.core.level.rules import AXES
from warmwatch.errors import UsageError
from warmwatch.links import Address, Link, open_link, parse_address
from warmwatch.outputs.hook import hooks


@click.command("watch")
@click.argument("link")
@click.option("--band", metavar="LOW:HIGH", help="Check temperature, as 80:90 or 176F:194F.")
@click.option(
    "--unit",
    type=click.Choice(["C", "F"]),
    help="Unit of numbers without one, and of what is shown.",
)
@click.option("--job", "job_file", type=click.Path(path_type=Path), help="Job file (TOML).")
@click.option("--vehicle", help="Label of the vehicle, free text.")
@click.option("--visit", metavar="again|ID", help="Continue a visit [default: a new one].")
@click.option("--method", help="Label of the way of warming up, such as idle or drive.")
@click.option("--band-source", metavar="TEXT", help="Where the band was taken from.")
@click.option("--drain-band", metavar="LOW:HIGH", help="Warm enough to drain, as 40:60.")
@click.option("--tilt", type=float, metavar="DEG", help="Tilt of the vehicle by a digital level.")
@click.option("--tilt-axis", type=click.Choice(AXES), help="Direction of the tilt.")
@click.option(
    "--in-park", is_flag=True, help="The selector is in park (for links that cannot read it)."
)
@click.option(
    "--lead",
    type=float,
    metavar="MIN",
    help="How early it says that the band is near [default: 3].",
)
@click.option(
    "--column", "columns", multiple=True, metavar="QUANTITY=NAME", help="Which column holds what."
)
@click.option("--zone", help="Time zone of a CSV file that names none, as +01:00.")
@click.option("--pace", metavar="real|N|max", help="Pace of a replay [default: max].")
@click.option("--until", metavar="left|entered|SECONDS", help="When to end by itself.")
@click.option("--record", type=click.Path(path_type=Path), metavar="DIR", help="Where to record.")
@click.option("--no-record", is_flag=True, help="Do not record.")
@click.option("--keep-bus", is_flag=True, help="Keep the raw frames, or the adapter's text.")
@click.option("--json", "as_json", is_flag=True, help="JSON Lines on stdout.")
@click.option("--quiet", is_flag=True, help="No sound.")
@click.option("--speak", is_flag=True, help="Speak the signals, too.")
@click.option("--plain", is_flag=True, help="Plain lines, no screen.")
@click.option("--cautions-understood", is_flag=True, help="You have read the cautions for holds.")
@click.option("--hook", "commands", multiple=True, metavar="COMMAND", help="Run this on events.")
@click.option("--hook-on", metavar="EVENT,...", help="Which events [default: all].")
@click.option("--yes", is_flag=True, help="The band in the book is right: do not ask.")
@click.option("--page/--no-page", default=None, help="Serve a page for the phone; prints its link.")
@click.option("--page-host", metavar="HOST", help="Address to serve on; private chooses one.")
@click.option("--page-port", type=click.IntRange(1, 65535), help="Port to serve on.")
@click.option("--page-marks/--no-page-marks", default=None, help="May the page set marks?")
@click.option(
    "--learn", type=click.Path(path_type=Path), metavar="FILE|DIR", help="Earlier warm-ups."
)
@click.option(
    "--key", "keys", multiple=True, metavar="KEY=MARK", help="A key for a mark, as f13=plug-out."
)
def command(**given: Any) -> int:
    """Watch LINK: a vehicle of the shop's book, as "white van", or a link's address.

    Addresses: a CSV file, `log:FILE`, `lines:-`, `demo:`, `can:...`, `serial:...` or
    `broadcast:...`. Signals when the band is near, entered, about to be left and left, and records
    everything.
    """
    return watch(Given.of(given))


def watch(given: Given) -> int:
    """Run the watch that was asked for and return the exit code."""
    known, file = look_up(given.name, given.job.vehicle, tell), JobFile.of(given.job.job_file)
    columns, unit, zone = given.link.columns, given.job.unit, given.link.zone
    address = agreed(with_columns(parse_address(known.link), columns, unit, zone))
    live = not address.about_kind.replay
    job = job_of(given, known, file, address)
    if live and "band" in known.job and given.job.band is None and "band" not in file.content:
        confirm_band(job, given=given.run.yes, asked=sys.stdin.isatty())
    options = options_of(given, known, job, live=live)
    job = going_on(job, options.folder, options.visit)
    note = acknowledge_loading(job, address.about_kind, given=given.run.cautions_understood)
    options = replace(options, origins=origins_of(given, known, file))
    pace = parse_pace(given.link.pace)
    kept = KeptLink(address, pace) if given.link.keep_bus else None
    opened: Link = kept or open_link(address, pace=pace)
    options = replace(options, kept=kept)
    return run_watch(Acknowledged(opened, note) if note else opened, address, job, options)


def job_of(given: Given, known: Known, file: JobFile, address: Address) -> Job:
    """Return the job: options first, then the job file, then the book."""
    of, lead_s = given.job, given.job.lead_s
    labels = _labels(given, known)
    job = make_job(address, file, of.band, of.unit, book=known.job, lead_s=lead_s, **labels)
    return with_check(job, of.drain_band, **of.check)


def _labels(given: Given, known: Known) -> dict[str, str | None]:
    return {
        "vehicle": known.label or given.job.vehicle,
        "method": given.job.method,
        "band_source": given.job.band_source,
    }


def options_of(given: Given, known: Known, job: Job, *, live: bool) -> WatchOptions:
    """Return how the watch is to run."""
    folder = None if given.run.no_record else given.run.record or known.recordings
    show = given.show
    options = WatchOptions(
        folder,
        parse_until(given.run.until),
        as_json=show.as_json,
        sound=not show.quiet and (live or given.link.pace not in (None, "max")),
        speak=show.speak,
        plain=show.plain,
        keys=parse_keys(show.keys),
        page=page_options(known, given.page.page, given.page.options),
        hooks=hooks(show.commands, show.hook_on),
        prior=_prior(given, known, job, live=live),
        visit=visit_of(given.job.visit, folder, job.vehicle, live=live),
    )
    return replace(options, signer=checkpoint_key()) if folder is not None and live else options


def _prior(given: Given, known: Known, job: Job, *, live: bool) -> Prior | None:
    if given.run.learn is not None:
        return learned_prior(given.run.learn, job.vehicle)
    return own_prior(known) if live else None


def origins_of(given: Given, known: Known, file: JobFile) -> dict[str, str]:
    """Return where each value of the job was taken from."""
    of = given.job
    told = {
        **_labels(given, known),
        "vehicle": of.vehicle,
        "band": of.band,
        "unit": of.unit,
        "lead_s": of.lead_s,
        "drain_band": of.drain_band,
        "check": of.check,
        "link": given.name if given.name == known.link else None,
    }
    return origins(book={"link": "", **known.job}, job_file=file.content, option=told)


def visit_of(wanted: str | None, folder: Path | None, vehicle: str, *, live: bool) -> str:
    """Return the visit to record, and propose to go on with one where there is one."""
    if wanted is None and live and (text := proposal(folder, vehicle, time.time())):
        tell(text)
    return join_visit(wanted, folder, vehicle, time.time())


def page_options(known: Known, page: bool | None, given: PageOptions) -> PageOptions | None:
    """Return how the page is to be served, None for not at all; options win over the shop's.

    The shop's wish for the page holds for vehicles of the book; its address for every page.
    """
    shop = known.shop.values
    wanted = page or (page is None and bool(known.label) and shop.get("page") is True)
    if not wanted and given != PageOptions():
        raise UsageError("--page-host, --page-port and --page-marks need --page.")
    if not wanted:
        return None
    host, port, marks = shop.get("page_host"), shop.get("page_port"), shop.get("page_marks")
    return PageOptions(
        given.host or (str(host) if host else None),
        given.port or (int(port) if port else None),
        given.marks if given.marks is not None or marks is None else bool(marks),
    )


def own_prior(known: Known) -> Prior | None:
    """Return what earlier recordings of a vehicle of the book teach, None where there are none."""
    if not known.label or not known.recordings.is_dir():
        return None
    return learned_prior(known.recordings, known.label, needed=False)


def learned_prior(path: Path, vehicle: str, *, needed: bool = True) -> Prior | None:
    """Return what a file keeps or recordings teach about the vehicle, and say how much it is.

    That they teach nothing is told where it was `needed`: asked for by an option.
    """
    from warmwatch.commands.learn import mixed  # brings the tables of compare with it

    learned = load_prior(path, vehicle=vehicle)
    of_it = f" of {vehicle}" if vehicle and learned.made_here else ""
    if not learned.prior.runs and not needed:
        return None
    if not learned.prior.runs:
        tell(f"nothing can be learned from {path}{of_it}: the forecast goes without.")
        return None
    count = learned.prior.runs
    tell(f"the forecast knows {count} earlier warm-up{'' if count == 1 else 's'}{of_it}.")
    for line in mixed(learned):
        tell(line.partition(": --")[0] + ".")
    return learned.prior


def parse_pace(text: str | None) -> float | None:
    """Return recorded seconds per second; None is as fast as possible."""
    if text is None or text == "max":
        return None
    try:
        pace = 1.0 if text == "real" else float(text)
    except ValueError:
        pace = 0.0
    if not 0.0 < pace < 1e6:
        raise UsageError(f"--pace {text}: write real, max, or how many times faster, such as 20.")
    return pace


def parse_until(text: str | None) -> Until:
    """Return when to end."""
    if text is None:
        return Until()
    if text in ("left", "entered"):
        return Until(event=text)
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0.0
    if not 0.0 < seconds < 1e9:
        raise UsageError(f"--until {text}: write left, entered, or a number of seconds.")
    return Until(seconds=seconds)
