"""Errors of links that work as far as they go."""

from warmwatch.errors import LinkLost


class VehicleSilent(LinkLost):
    """The link works, but nobody answers the standard's requests."""


class NotUnderstood(LinkLost):
    """The port is open, and what is there does not speak as the link does."""
