"""The link of every kind that asks: its transport opens the port, the driver asks."""

from collections.abc import Callable
from dataclasses import asdict
from importlib import import_module
from typing import Protocol

from warmwatch.links.address import Address
from warmwatch.links.asking.driver import Carrier, Talking, Wanted, serve
from warmwatch.links.asking.port import TalkPort
from warmwatch.links.clock import Clock
from warmwatch.links.live import LiveLink


class Opener(Protocol):
    """What a transport offers as `opener_of(address)`: it opens one port again and again."""

    wanted: Wanted
    clock: Clock

    def open(self, talking: Callable[[Carrier], Talking]) -> TalkPort:
        """Return an opened port that runs the talk. Raises LinkLost or LinkRefused."""


def opener_of(address: Address) -> Opener:
    """Return the opener of an address whose kind asks. Raises UsageError."""
    opener: Opener = import_module(address.about_kind.transport).opener_of(address)
    return opener


def open_address(address: Address, pace: float | None) -> LiveLink:
    """Return the link of an address whose kind asks; `pace` is ignored. Raises UsageError."""
    opener = opener_of(address)
    signals = [asdict(signal) for signal in opener.wanted.signals]
    return link_of(opener, {"address": str(address), "signals": signals})


def link_of(opener: Opener, about: dict[str, object]) -> LiveLink:
    """Return the link that polls through `opener`; `about` goes into the recording."""

    def talking(carrier: Carrier) -> Talking:
        return serve(carrier, opener.wanted, opener.clock.elapsed_s)

    return LiveLink(lambda: opener.open(talking), opener.clock, about, opener.wanted.poll_s)
