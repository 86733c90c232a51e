"""`broadcast:` listens only: J1939, or the signals of a database file."""

from warmwatch.links.broadcast.port import open_address

__all__ = ["open_address"]
