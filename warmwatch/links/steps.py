"""What trying a link shows, step by step: `warmwatch link` prints it."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from warmwatch.links.address import Address


class StepState(StrEnum):
    """How a step went; unknown: it could not be found out, and things may work all the same."""

    OK = "ok"
    FAILED = "failed"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what was tried, what was seen, and what to try next when it failed."""

    name: str
    state: StepState
    seen: str
    advice: str = ""


class TryAddress(Protocol):
    """A link module may offer this as `try_address`; without it the link is just listened to."""

    def __call__(self, address: Address) -> Iterator[Step]:
        """Yield steps as they are taken, each bounded in time; never raises a LinkError."""
