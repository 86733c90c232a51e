"""The command line. Each command is imported only when it is used, so that help is instant."""

import os
import sys
from importlib import import_module

import click

from warmwatch._version import __version__
from warmwatch.errors import WarmwatchError

INTERRUPTED = 130
UNREAD = 141
"""128 + SIGPIPE, as a shell has it: never 1, which of `verify` says that something was changed."""

COMMANDS = {
    "start": "Answer questions, from the adapter to the running watch.",
    "demo": "Run the whole thing with an invented vehicle: no hardware, about 20 seconds.",
    "watch": "Watch a link until the fluid is in the band, and after.",
    "book": "The shop's own vehicles, adapters and settings.",
    "shortcut": "Put a file on the desktop that starts warmwatch by a double-click.",
    "learn": "Learn a vehicle's usual pace from recordings, for its next warm-up.",
    "compare": "Compare ways of warming up, from recordings.",
    "plot": "Draw a recording as a picture.",
    "proof": "Make a PDF that shows at what temperature the level was set.",
    "anchor": "Fetch time stamps from outside the shop.",
    "verify": "Say whether a recording or a proof is as it was written.",
    "jobs": "List the recordings of a folder with what they show.",
    "fluid": "Balance what was drained and filled in; say what an error costs.",
    "key": "Make the shop key, and sign with it.",
    "tones": "Play and name each tone, to learn them.",
    "signals": "List the values that can be asked for.",
    "link": "Try a link and say, step by step, what it sees.",
}


class Lazy(click.Group):
    """Knows the commands' names and first lines without importing them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"warmwatch.commands.{cmd_name}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(
    cls=Lazy,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, message="warmwatch %(version)s")
@click.option(
    "--language", metavar="CODE", help="Language of what it shows and says [default: the book's]."
)
@click.pass_context
def cli(context: click.Context, language: str | None) -> int | None:
    """Say when transmission fluid is inside its check-temperature band, and record the proof.

    Hot fluid and metal burn; a running engine makes carbon monoxide; a vehicle can move. Follow
    the service information of the vehicle; it comes before anything this program says.
    Without a command it asks what is needed, and begins a watch.
    """
    from warmwatch.app.language import choose_language

    if language is not None or context.invoked_subcommand != "book":  # that can mend the book
        choose_language(language)
    if context.invoked_subcommand is not None:
        return None
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        click.echo(context.get_help())
        return 2
    from warmwatch.commands.start import start

    return start()


def main() -> None:
    """Run the command line and exit: 0 done, 1 failed, 2 wrong usage, 130 ended by Ctrl-C."""
    sys.exit(run(sys.argv[1:]))


def run(arguments: list[str]) -> int:
    """Run the command line and return its exit code; every error is one sentence on stderr."""
    _replace_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    stdout = sys.stdout
    try:
        result = cli.main(arguments, prog_name="warmwatch", standalone_mode=False)
        sys.stdout.flush()
        return result if isinstance(result, int) else 0
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except WarmwatchError as error:
        click.echo(f"warmwatch: {error}", err=True)
        return error.exit_code
    except (KeyboardInterrupt, click.Abort):
        click.echo("warmwatch: ended by Ctrl-C.", err=True)
        return INTERRUPTED
    except SystemExit:
        if sys.stdout is stdout:
            raise
        return _unread()  # click puts another in its place where nobody reads it
    except BrokenPipeError:
        return _unread()
    except OSError as error:
        where = f" {error.filename}" if error.filename else ""
        click.echo(f"warmwatch: {error.strerror or error}{where}.", err=True)
        return 1


def _unread() -> int:
    """What reads the output has gone; stdout must not complain again at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return UNREAD


def _replace_closed_streams() -> None:
    """Put the null device where a standard stream was closed before the start (`>&-`)."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115
