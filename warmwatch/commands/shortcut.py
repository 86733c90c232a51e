"""`warmwatch shortcut`: something to double-click that begins the guided start."""

import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import click

from warmwatch.errors import UsageError, WarmwatchError

NAME = "warmwatch"
_LINUX = """\
[Desktop Entry]
Type=Application
Version=1.0
Name=warmwatch
Comment=Waits for the check temperature of transmission fluid
Exec={command}
Terminal=true
Categories=Utility;
"""
_WINDOWS = '@echo off\r\ncd /d "%USERPROFILE%"\r\n{command}\r\npause\r\n'
_MACOS = '#!/bin/sh\ncd "$HOME" || exit\n{command}\n'
_AFTER = {
    "linux": (
        "Double-click it (some desktops ask once: right-click, Allow Launching), or look for "
        "warmwatch among the applications."
    ),
    "win32": "Double-click it. The window stays open at the end, so that you can read it.",
    "darwin": "Double-click it. The first time: right-click, Open, since nobody signed it.",
}


@click.command("shortcut")
@click.option(
    "--folder", type=click.Path(path_type=Path), help="Where to put it [default: your desktop]."
)
@click.option("--print", "only_print", is_flag=True, help="Print it, write nothing.")
def command(folder: Path | None, only_print: bool) -> None:
    """Put a file on the desktop that starts warmwatch by a double-click.

    Recordings then go into the folder warmwatch-recordings of your home, unless the book names
    another. Tried on Linux only; on Windows and macOS nobody has double-clicked it yet.
    """
    name, text = shortcut(sys.platform, _program())
    if only_print:
        click.echo(text, nl=False)
        return
    written = [write(place / name, text) for place in places(sys.platform, folder)]
    for path in written:
        click.echo(f"Written: {path}")
    click.echo(_AFTER.get(sys.platform, _AFTER["linux"]))


def shortcut(system: str, program: str) -> tuple[str, str]:
    """Return the file's name and content for a system (as `sys.platform` names it).

    `program` is the path of the warmwatch command. Raises UsageError for a path that the form
    cannot hold.
    """
    if (any(char in program for char in '"%`$\\\n') and system != "win32") or "\n" in program:
        raise UsageError(f"{program} has a character that no shortcut can hold: install elsewhere.")
    if system == "win32":
        return f"{NAME}.bat", _WINDOWS.format(command=f'"{program.replace("%", "%%")}"')
    if system == "darwin":
        return f"{NAME}.command", _MACOS.format(command=f'"{program}"')
    return f"{NAME}.desktop", _LINUX.format(command=f'"{program}"')


def _program() -> str:
    """Return the path of the command that runs now, or that the system finds."""
    here = Path(sys.argv[0])
    beside = shutil.which(NAME, path=str(Path(sys.executable).parent))
    found = str(here.resolve()) if here.stem == NAME and here.is_file() else beside
    found = found or shutil.which(NAME)
    if found is None:
        raise UsageError(
            "The warmwatch command is not installed here: see the README, Use it every day."
        )
    return found


def places(system: str, folder: Path | None, home: Callable[[], Path] = Path.home) -> list[Path]:
    """Return the folders that the file goes to; the desktop only where there is one."""
    if folder is not None:
        return [folder]
    desktop = home() / "Desktop"
    menu = [home() / ".local/share/applications"] if system.startswith("linux") else []
    if not desktop.is_dir() and not menu:
        raise UsageError("No desktop folder was found: name one with --folder.")
    return [*([desktop] if desktop.is_dir() else []), *menu]


def write(path: Path, text: str) -> Path:
    """Write the file, runnable; an existing one that is not ours is left alone."""
    try:
        if path.exists() and NAME not in path.read_text(encoding="utf-8", errors="replace"):
            raise UsageError(f"{path} is there already and is not ours: name another --folder.")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="")
        path.chmod(0o755)
    except OSError as error:
        raise WarmwatchError(
            f"{path} cannot be written ({error.strerror or error}): name another --folder."
        ) from None
    return path
