"""What every link offers, and how one is opened by its address."""

from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Protocol

from warmwatch.core.notice import Notice
from warmwatch.core.reading import Item
from warmwatch.links.address import Address

WAIT_S = 0.2
"""The longest that a link may block: keys, Ctrl-C and the blind timer are served so often."""


LinkItem = Item | Notice | None
"""None says: nothing came for up to WAIT_S."""


class Link(Protocol):
    """A way to get readings. The session is the only one to iterate `items`."""

    @property
    def poll_s(self) -> float | None:
        """The usual time between two readings in seconds, where the link knows it."""

    @property
    def replay(self) -> bool:
        """True when the readings were recorded earlier."""

    def describe(self) -> Mapping[str, object]:
        """What the recording's sidecar keeps of this link (JSON values only)."""

    def elapsed_s(self) -> float:
        """Now, on the clock that stamps this link's readings."""

    def items(self) -> Iterator[LinkItem]:
        """Yield readings and notices as they come, and None after WAIT_S of nothing."""

    def close(self) -> None:
        """Stop and free the port; may be called twice, and while `items` waits."""


def open_link(address: Address, *, pace: float | None = None) -> Link:
    """Open the link of `address`; the module of its kind is imported only now.

    `pace` is recorded seconds per second of waiting (1 is real time); None is as fast as it can be
    for recorded readings, and is ignored by links to real vehicles. Raises LinkError, InputError or
    UsageError.
    """
    module = import_module(address.about_kind.module)
    link: Link = module.open_address(address, pace)
    return link
