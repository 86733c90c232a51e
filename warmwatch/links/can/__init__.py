"""`can:` request and answer over ISO-TP on a CAN interface."""

from warmwatch.links.can.port import open_address

__all__ = ["open_address"]
