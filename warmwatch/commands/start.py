"""`warmwatch start`: questions from "adapter plugged in" to "watch running"."""

import sys
from pathlib import Path

import click

from warmwatch.app.guide import terminal
from warmwatch.app.guide.asking import Say, drive
from warmwatch.app.guide.guide import guide
from warmwatch.app.guide.here import Here
from warmwatch.app.wiring import PageOptions
from warmwatch.book.book import read_book
from warmwatch.commands.link import CAUTION
from warmwatch.errors import LinkError, UsageError
from warmwatch.links.address import parse_address

NO_TERMINAL = (
    "Nobody can answer questions here: `warmwatch start` needs a terminal. Without one, write the "
    'vehicle into the book, as in `warmwatch book set "white van" link=serial:PORT band=80:90`, '
    'then `warmwatch watch "white van" --yes`.'
)
WELCOME = "Enter takes the answer in brackets. Ctrl-C ends the questions, and nothing is kept."


@click.command("start")
@click.option("--page", is_flag=True, help="Do it all on the phone: serve the whole visit there.")
@click.option("--page-host", metavar="HOST", help="Address to serve on; private chooses one.")
@click.option("--page-port", type=click.IntRange(1, 65535), help="Port to serve on.")
@click.option("--page-marks/--no-page-marks", default=None, help="May the page set marks?")
@click.option("--page-run/--no-page-run", default=None, help="May the page run the visit?")
@click.option("--record", type=click.Path(path_type=Path), metavar="DIR", help="Where to record.")
@click.option("--quiet", is_flag=True, help="No sound on this computer.")
@click.option("--plain", is_flag=True, help="Plain lines, no screen.")
def command(
    page: bool,
    page_host: str | None,
    page_port: int | None,
    page_marks: bool | None,
    page_run: bool | None,
    record: Path | None,
    quiet: bool,
    plain: bool,
) -> int:
    """Ask what is needed, from the adapter to the page on the phone, and begin the watch.

    The answers go into the shop's book: the next time two answers are enough. With --page you
    answer on the phone, and the page stays for the next vehicle.
    """
    wish = PageOptions(page_host, page_port, page_marks, page_run)
    if page:
        return visits(wish, record, sound=not quiet, plain=plain)
    if wish != PageOptions() or record is not None or quiet or plain:
        raise UsageError("These options of start need --page.")
    return start()


def visits(wish: PageOptions, record: Path | None, *, sound: bool, plain: bool) -> int:
    """Serve visits on the phone, with what the shop's book says of pages and recordings."""
    from warmwatch.app.known import RECORDINGS
    from warmwatch.app.signing import Seal
    from warmwatch.app.visit.serve import VisitOptions, serve_visit
    from warmwatch.commands.key import default_key, visit_key
    from warmwatch.recording.seal.shop_log import log_path

    shop = read_book().shop
    host, port, marks = (shop.values.get(f"page_{key}") for key in ("host", "port", "marks"))
    wish = PageOptions(
        wish.host or (str(host) if host else None),
        wish.port or (int(port) if port else None),
        wish.marks if wish.marks is not None or marks is None else bool(marks),
        wish.run,
    )
    named = shop.text("recordings")
    folder = record or (Path(named).expanduser() if named else RECORDINGS)
    paper = shop.text("paper") or "a4"
    click.echo(CAUTION, err=True)
    key = visit_key()
    seal = None if key is None else Seal(key, log_path(default_key()))
    return serve_visit(VisitOptions(wish, folder, paper, sound=sound, plain=plain, seal=seal))


def start() -> int:
    """Run the guide on this terminal, then the watch that it decided on."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError(NO_TERMINAL)
    for text in (CAUTION, WELCOME):
        terminal.say(Say(text))
    try:
        plan = drive(guide(Here(terminal.say_step, search)), terminal.ask, terminal.say)
    except (KeyboardInterrupt, click.Abort):
        click.echo("\nStopped: the book is as it was.", err=True)
        raise
    if not plan.start:
        return 0
    code = watch(plan.arguments)
    terminal.say(Say(plan.next_time))
    return code


def watch(arguments: list[str]) -> int:
    """Run the command line that the guide names, in this process."""
    whole = click.get_current_context().find_root().command
    result = whole.main(arguments, prog_name="warmwatch", standalone_mode=False)
    return result if isinstance(result, int) else 0


def search(address: str, path: Path) -> bool:
    """Search the vehicle for the fluid's identifier, into a signal file; True when it was found."""
    from warmwatch.commands.find_plan import Plan
    from warmwatch.commands.find_temperature import find_temperature

    plan = Plan.of("", None, minutes=10.0, rate=4.0, air=None)
    try:
        find_temperature(parse_address(address), plan, out=str(path), as_json=False, ask_first=True)
    except LinkError as error:
        click.echo(f"! {error}")
    return path.exists()
