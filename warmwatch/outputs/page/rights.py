"""Who may see the page, who may set marks, and who may run the visit: one key for each right.

The key stands in the printed link. It is exchanged once for a cookie with another value, so that
neither the address line nor the history of a phone holds what later requests are known by.
"""

import hmac
import secrets
from collections.abc import Mapping
from enum import StrEnum

KEY_BYTES = 18
"""144 bits; in a link 24 characters."""


class Right(StrEnum):
    """What a link gives, from the least to the furthest; each holds those before it."""

    WATCH = "watch"
    MARK = "mark"
    RUN = "run"

    def holds(self, other: "Right") -> bool:
        """Whether this right gives what `other` gives."""
        order = list(Right)
        return order.index(self) >= order.index(other)


class Rights:
    """The keys and cookies of one run; both are void when it ends.

    >>> rights = Rights(marks=False)
    >>> rights.by_key(rights.key(Right.WATCH)), rights.by_key("guess")
    (<Right.WATCH: 'watch'>, None)
    """

    def __init__(self, *, marks: bool, run: bool = False) -> None:
        self.given = [
            Right.WATCH,
            *([Right.MARK] if marks or run else []),
            *([Right.RUN] if run else []),
        ]
        self._keys = {right: secrets.token_urlsafe(KEY_BYTES) for right in self.given}
        self._cookies = {right: secrets.token_urlsafe(KEY_BYTES) for right in self.given}

    @property
    def best(self) -> Right:
        """The furthest right that is given at all."""
        return self.given[-1]

    def key(self, right: Right) -> str:
        """Return the key for a link."""
        return self._keys[right]

    def cookie(self, right: Right) -> str:
        """Return the cookie's value."""
        return self._cookies[right]

    def by_key(self, text: str) -> Right | None:
        """Return the right of a key from a link, None for any other text."""
        return _find(self._keys, text)

    def by_cookie(self, text: str) -> Right | None:
        """Return the right of a cookie, None for any other text."""
        return _find(self._cookies, text)


def _find(known: Mapping[Right, str], text: str) -> Right | None:
    """Compare with every one in constant time, so that timing tells nothing about any."""
    found = None
    for right, secret in known.items():
        if hmac.compare_digest(secret.encode(), text.encode("utf-8", "replace")):
            found = right
    return found
