"""How often something may be asked, and how many may be connected."""

import ipaddress
from collections import OrderedDict
from dataclasses import dataclass

MOST_STREAMS = 32
"""Pages that are served at once."""
MOST_CONNECTIONS = 128
MOST_FROM_ONE = 16
"""Connections from one address of the network: a phone needs two or three."""
_REMEMBERED = 256


@dataclass(slots=True)
class Bucket:
    """Allows `burst` at once and `per_s` in the long run; the caller brings the clock.

    >>> bucket = Bucket(per_s=1.0, burst=2)
    >>> [bucket.take(0.0), bucket.take(0.0), bucket.take(0.0), bucket.take(1.5)]
    [True, True, False, True]
    """

    per_s: float
    burst: float
    _level: float = 0.0
    _seen_s: float | None = None

    def take(self, now_s: float) -> bool:
        """Return whether one more is allowed at `now_s`, and count it."""
        if self._seen_s is not None:
            self._level = max(0.0, self._level - (now_s - self._seen_s) * self.per_s)
        self._seen_s = now_s
        if self._level + 1.0 > self.burst:
            return False
        self._level += 1.0
        return True


class Askers:
    """A bucket for each address, the longest unseen forgotten first."""

    def __init__(self) -> None:
        self._buckets: OrderedDict[str, Bucket] = OrderedDict()

    def may(self, address: str, now_s: float) -> bool:
        """Return whether a request from `address` is to be answered."""
        bucket = self._buckets.pop(address, None)
        if bucket is None:
            # This machine itself may open many pages at once; it is no stranger.
            burst = 600.0 if is_loopback(address) else 60.0
            bucket = Bucket(per_s=burst / 5.0, burst=burst)
        self._buckets[address] = bucket
        while len(self._buckets) > _REMEMBERED:
            self._buckets.popitem(last=False)
        return bucket.take(now_s)


def is_loopback(address: str) -> bool:
    """Whether `address` is this machine's own."""
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False
