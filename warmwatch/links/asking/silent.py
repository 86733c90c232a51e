"""Errors of links whose port works, but whose far end does not answer as expected."""

from warmwatch.errors import LinkLost


class VehicleSilent(LinkLost):
    """The link works, but nobody answers the standard's requests."""


class NotUnderstood(LinkLost):
    """The port is open, and what is there does not speak as the link does."""


class WrongSetUp(LinkLost):
    """What is there is something else than the address says: what was seen, and what cures it."""

    def __init__(self, seen: str, cure: str) -> None:
        super().__init__(f"{seen[:1].upper()}{seen[1:]}: {cure}.")
        self.seen = seen
        self.cure = cure
