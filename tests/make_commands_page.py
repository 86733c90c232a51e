"""`python -m tests.make_commands_page` writes docs/commands.md from the program's own help."""

from collections.abc import Iterator
from pathlib import Path

import click

from warmwatch.commands.main import COMMANDS, cli

PAGE = Path(__file__).parent.parent / "docs/commands.md"
HEAD = """# Every command and option

This page is what `--help` says, written by `python -m tests.make_commands_page`. The other pages
say what the commands are for.

Exit codes of every command: 0 done (also when you stopped a watch), 1 failed or found changed, 2
wrong usage, 130 ended by Ctrl-C before anything was recorded, 141 whatever read the output went
away. `verify` has more: see [verify.md](verify.md).
"""


def text() -> str:
    """Return the whole page."""
    return HEAD + "".join(
        f"\n## {' '.join(words)}\n\n```text\n{help_of(words, found)}\n```\n"
        for words, found in commands()
    )


def commands() -> Iterator[tuple[list[str], click.Command]]:
    """Yield the words and the command of every command and subcommand."""
    yield ["warmwatch"], cli
    for name in COMMANDS:
        found = cli.get_command(click.Context(cli), name)
        assert found is not None
        yield ["warmwatch", name], found
        for inner, command in getattr(found, "commands", {}).items():
            yield ["warmwatch", name, inner], command


def help_of(words: list[str], command: click.Command) -> str:
    """Return a command's help as the terminal shows it, without trailing blanks."""
    context = click.Context(
        command, info_name=" ".join(words), terminal_width=96, max_content_width=96,
        help_option_names=["-h", "--help"],
    )  # fmt: skip
    return "\n".join(line.rstrip() for line in command.get_help(context).splitlines())


if __name__ == "__main__":
    PAGE.write_text(text(), encoding="utf-8")
