"""How much of the fluid is fresh after drain-and-fills, when only a part comes out each time.

After each drain the rest mixes with what is filled in, so after n times the share of fresh fluid
is 1 - (1 - d/C)^n, with d what comes out and C all the fluid. That is for complete mixing: the
vehicle is driven, through all gears, between two drains.
"""

import math
from dataclasses import dataclass

CAPACITY_ERR = 0.05
"""A capacity from a data sheet is uncertain by so much of itself where nobody says (ours)."""
MOST_TIMES = 50


@dataclass(frozen=True, slots=True)
class Share:
    """The share of fresh fluid, 0 to 1: at the capacity told, and at both ends of its error."""

    share: float
    low: float
    high: float


def fresh(drain_l: float, capacity_l: float, times: int) -> float:
    """Return the share of fresh fluid; ValueError when more comes out than there is.

    >>> fresh(4, 8, 3)
    0.875
    """
    if not 0.0 < drain_l <= capacity_l:
        raise ValueError(f"of {capacity_l:.4g} L not {drain_l:.4g} L can come out")
    return 1.0 - (1.0 - drain_l / capacity_l) ** times


def fresh_share(drain_l: float, capacity_l: float, err_l: float, times: int) -> Share:
    """Return the share after `times` drain-and-fills, with its spread from the capacity's error."""
    check_error(capacity_l, err_l)
    return Share(
        fresh(drain_l, capacity_l, times),
        fresh(drain_l, capacity_l + err_l, times),
        fresh(min(drain_l, capacity_l - err_l), capacity_l - err_l, times),
    )


def check_error(capacity_l: float, err_l: float) -> None:
    """Raise ValueError when the error is none of that capacity."""
    if not 0.0 <= err_l < capacity_l:
        raise ValueError(f"an error of {err_l:.4g} L is no error of {capacity_l:.4g} L")


def times_for(wanted: float, drain_l: float, capacity_l: float) -> int:
    """Return how many drain-and-fills reach a wanted share, above 0 and below 1.

    >>> times_for(0.9, 4, 8)
    4
    """
    if not 0.0 < wanted < 1.0:
        raise ValueError("a share above 0 and below 100 % is needed: all of it is never fresh")
    first = fresh(drain_l, capacity_l, 1)
    if first >= wanted:
        return 1
    # The logarithm alone may miss a share that is reached exactly by a last digit.
    times = max(1, math.floor(math.log1p(-wanted) / math.log1p(-first)) - 1)
    while fresh(drain_l, capacity_l, times) < wanted - 1e-12:
        times += 1
    return times
