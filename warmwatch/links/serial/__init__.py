"""`serial:` AT-command text adapters."""

from warmwatch.links.serial.port import open_address

__all__ = ["open_address"]
