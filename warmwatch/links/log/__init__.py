"""`log:` replays recorded bus traffic."""

from warmwatch.links.log.port import open_address

__all__ = ["open_address"]
