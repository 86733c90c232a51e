"""Single requests to a vehicle, one after the other: for searching, not for watching."""

import time
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Protocol

from warmwatch.errors import LinkError, LinkLost, UsageError
from warmwatch.links.address import Address
from warmwatch.links.asking.request import Outcome, Request
from warmwatch.links.asking.survey import Offer
from warmwatch.links.asking.units import Unit
from warmwatch.links.trying.steps import Step

AGAIN_S, AGAIN_PAUSE_S = 60.0, 1.0


class VehicleSilent(LinkLost):
    """The link works, but nobody answers the standard's requests."""


class Asker(Protocol):
    """An opened way to ask."""

    @property
    def units(self) -> list[Unit]:
        """The units that answered the survey."""

    @property
    def offers(self) -> Mapping[Unit, Offer]:
        """What each of them offers of the standard's values."""

    def unit_at(self, target: int) -> Unit:
        """Return the unit asked at `target`."""

    def ask(self, request: Request) -> Outcome:
        """Ask once and wait for the answer. Raises LinkLost."""

    def close(self) -> None:
        """Free the port."""


def open_asker(address: Address, told: Callable[[Step], None], target: int | None = None) -> Asker:
    """Open the link of `address` for single requests; `told` gets the steps on the way.

    With `target`, the address of a unit, the link goes on where nobody answers the survey.

    Raises LinkError, and UsageError for a kind of link that asks nothing.
    """
    if not address.about_kind.asker:
        raise UsageError(f"{address.kind}: asks no questions: search on a serial: or can: link.")
    module = import_module(address.about_kind.asker)
    asker: Asker = module.open_asker(address, told, target)
    return asker


def open_again(
    opening: Callable[[], Asker],
    longest_s: float = AGAIN_S,
    sleep: Callable[[float], None] = time.sleep,
) -> Asker:
    """Return what `opening` opens, tried for up to `longest_s`; then its LinkError is raised."""
    until_s = time.monotonic() + longest_s
    while True:
        try:
            return opening()
        except LinkError:
            if time.monotonic() >= until_s:
                raise
            sleep(AGAIN_PAUSE_S)
