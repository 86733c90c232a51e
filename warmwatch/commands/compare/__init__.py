"""`warmwatch compare`: how ways of warming up differ, from recordings."""

from warmwatch.commands.compare.entry import command

__all__ = ["command"]
