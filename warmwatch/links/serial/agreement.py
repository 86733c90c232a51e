"""When two answers through a text adapter agree: a digit may have become another digit."""

from collections.abc import Mapping
from dataclasses import dataclass

from warmwatch.core.units import QUANTITIES
from warmwatch.links.asking.request import RequestOutcome

TOLERANCE = {"degC": 1.0, "1/min": 400.0, "km/h": 10.0}
"""A change of more than this from one answer to the next is asked for again, by unit."""


@dataclass(frozen=True, slots=True)
class Heard:
    """A readable answer; `values` are those of its signals that are worth asking twice."""

    outcome: RequestOutcome
    shape: tuple[int, ...]
    values: Mapping[str, float]


def tolerance(name: str) -> float | None:
    """Return by how much a quantity may change between two answers; None: it is not checked."""
    quantity = QUANTITIES.get(name)
    return TOLERANCE.get(quantity.unit) if quantity is not None else None


def agree(one: Heard, other: Heard) -> bool:
    """True when two answers say the same, as far as the fluid may change between them."""
    if one.shape != other.shape or one.values.keys() != other.values.keys():
        return False
    if one.outcome.refusals != other.outcome.refusals:
        return False
    return all(
        abs(value - other.values[key]) <= (tolerance(key.rpartition(" ")[2]) or 0.0)
        for key, value in one.values.items()
    )
