"""`warmwatch start`: questions from "adapter plugged in" to "watch running"."""

import sys
from pathlib import Path

import click

from warmwatch.app.guide import terminal
from warmwatch.app.guide.asking import Say, drive
from warmwatch.app.guide.guide import guide
from warmwatch.app.guide.here import Here
from warmwatch.commands.link import CAUTION
from warmwatch.errors import LinkError, UsageError
from warmwatch.links.address import parse_address

NO_TERMINAL = (
    "Nobody can answer questions here: `warmwatch start` needs a terminal. Without one, write the "
    'vehicle into the book, as in `warmwatch book set "white van" link=serial:PORT band=80:90`, '
    'then `warmwatch watch "white van" --yes`.'
)
WELCOME = "Enter takes what stands in brackets. Ctrl-C ends it, and nothing of it is kept."


@click.command("start")
def command() -> int:
    """Ask what is needed, from the adapter to the page on the phone, and begin the watch.

    The answers go into the shop's book: the next time two of them are enough.
    """
    return start()


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
    from warmwatch.commands.find_temperature import Plan, find_temperature

    plan = Plan.of("", None, minutes=10.0, rate=4.0, air=None)
    try:
        find_temperature(parse_address(address), plan, out=str(path), as_json=False, ask_first=True)
    except LinkError as error:
        click.echo(f"! {error}")
    return path.exists()
