"""`warmwatch watch LINK`: the whole act of waiting for the band."""

from collections.abc import Sequence
from pathlib import Path

import click

from warmwatch.analysis.learned import load_prior
from warmwatch.app.keyboard.terminal import parse_keys
from warmwatch.app.session import Until
from warmwatch.app.wiring import PageWish, Wishes, run_watch, tell
from warmwatch.commands.cautions import Acknowledged, acknowledge_loading
from warmwatch.commands.options import make_job, with_check, with_columns
from warmwatch.core.forecast.prior import Prior
from warmwatch.core.level.rules import AXES
from warmwatch.errors import UsageError
from warmwatch.links import open_link, parse_address
from warmwatch.outputs.hook import hooks

RECORDINGS = Path("warmwatch-recordings")


@click.command("watch")
@click.argument("link")
@click.option("--band", metavar="LOW:HIGH", help="Check temperature, as 80:90 or 176F:194F.")
@click.option("--unit", type=click.Choice(["C", "F"]), help="Unit of bare numbers and of show.")
@click.option("--job", "job_file", type=click.Path(path_type=Path), help="Job file (TOML).")
@click.option("--vehicle", help="Label of the vehicle, free text.")
@click.option("--method", help="Label of the way of warming up, such as idle or drive.")
@click.option("--band-source", metavar="TEXT", help="Where the band was taken from.")
@click.option("--drain-band", metavar="LOW:HIGH", help="Warm enough to drain, as 40:60.")
@click.option("--tilt", type=float, metavar="DEG", help="Tilt of the vehicle by a digital level.")
@click.option("--tilt-axis", type=click.Choice(AXES), help="Along which way it was measured.")
@click.option("--in-park", is_flag=True, help="The selector is in park, where it is not read.")
@click.option("--lead", type=float, metavar="MIN", help="How early nearing comes [default: 3].")
@click.option("--column", "columns", multiple=True, metavar="QUANTITY=NAME", help="Name a column.")
@click.option("--pace", metavar="real|N|max", help="Pace of a replay [default: max].")
@click.option("--until", metavar="left|entered|SECONDS", help="When to end by itself.")
@click.option("--record", type=click.Path(path_type=Path), metavar="DIR", help="Where to record.")
@click.option("--no-record", is_flag=True, help="Do not record.")
@click.option("--json", "as_json", is_flag=True, help="JSON Lines on stdout.")
@click.option("--quiet", is_flag=True, help="No sound.")
@click.option("--speak", is_flag=True, help="Speak the signals, too.")
@click.option("--plain", is_flag=True, help="Plain lines, no screen.")
@click.option("--cautions-understood", is_flag=True, help="Holds: the cautions have been read.")
@click.option("--hook", "commands", multiple=True, metavar="COMMAND", help="Run it on events.")
@click.option("--hook-on", metavar="EVENT,...", help="Which events [default: all].")
@click.option("--page", is_flag=True, help="Serve a page for the phone; prints its link.")
@click.option("--page-host", metavar="HOST", help="Address for it, or private: one is chosen.")
@click.option("--page-port", type=click.IntRange(1, 65535), help="Port for it.")
@click.option("--page-marks/--no-page-marks", default=None, help="May the page set marks?")
@click.option("--learn", type=click.Path(path_type=Path), metavar="FILE|DIR", help="Usual pace.")
@click.option("--key", "keys", multiple=True, metavar="KEY=MARK", help="As in f13=plug-out.")
def command(
    link: str,
    band: str | None,
    unit: str | None,
    job_file: Path | None,
    vehicle: str | None,
    method: str | None,
    band_source: str | None,
    drain_band: str | None,
    tilt: float | None,
    tilt_axis: str | None,
    in_park: bool,
    lead: float | None,
    columns: Sequence[str],
    pace: str | None,
    until: str | None,
    record: Path | None,
    no_record: bool,
    as_json: bool,
    quiet: bool,
    speak: bool,
    plain: bool,
    cautions_understood: bool,
    keys: Sequence[str],
    commands: Sequence[str],
    hook_on: str | None,
    page: bool,
    page_host: str | None,
    page_port: int | None,
    page_marks: bool | None,
    learn: Path | None,
) -> int:
    """Watch LINK: a CSV file, `lines:-`, `demo:`, `can:...`, `serial:...` or `broadcast:...`.

    Signals when the band is near, entered, about to be left and left, and records everything.
    """
    if record is not None and no_record:
        raise UsageError("--record and --no-record cannot be used together.")
    address = with_columns(parse_address(link), columns, unit)
    lead_s = None if lead is None else lead * 60.0
    labels = {"vehicle": vehicle, "method": method, "band_source": band_source}
    job = make_job(address, job_file, band, unit, lead_s=lead_s, **labels)
    job = with_check(job, drain_band, tilt_deg=tilt, tilt_axis=tilt_axis, in_park=in_park)
    ends = parse_until(until)
    note = acknowledge_loading(job, address.about_kind, given=cautions_understood)
    pacing = parse_pace(pace)
    folder = None if no_record else record or RECORDINGS
    heard = not quiet and (not address.about_kind.replay or pace not in (None, "max"))
    wish = PageWish(page_host, page_port, page_marks)
    if not page and wish != PageWish():
        raise UsageError("--page-host, --page-port and --page-marks need --page.")
    if hook_on is not None and not commands:
        raise UsageError("--hook-on needs --hook.")
    served = wish if page else None
    own_keys, run = parse_keys(keys), hooks(commands, hook_on)
    prior = None if learn is None else learned_prior(learn, job.vehicle)
    wishes = Wishes(folder, ends, as_json, heard, speak, plain, own_keys, served, run, prior)
    opened = open_link(address, pace=pacing)
    return run_watch(Acknowledged(opened, note) if note else opened, address, job, wishes)


def learned_prior(path: Path, vehicle: str) -> Prior | None:
    """Return what a file keeps or recordings teach about the vehicle, and say how much it is."""
    from warmwatch.commands.learn import mixed  # brings the tables of compare with it

    learned = load_prior(path, vehicle=vehicle)
    of_it = f" of {vehicle}" if vehicle and learned.made_here else ""
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
