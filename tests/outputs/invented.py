"""Invented warm-ups for the tests of the plot; no number here was measured."""

import math
from collections.abc import Iterable

from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Item, Mark, MarkName, Reading

JOB = Job(Band(80.0, 90.0))


def warm_c(elapsed_s: float, *, start_c: float = 20.0, end_c: float = 105.0) -> float:
    """Return a first-order warm-up with a time constant of 1500 s."""
    return end_c - (end_c - start_c) * math.exp(-elapsed_s / 1500.0)


def reading(elapsed_s: float, fluid_c: float, **values: float) -> Reading:
    """Return a reading of the fluid, with other values by name."""
    return Reading(float(elapsed_s), {"fluid_c": float(fluid_c), **values})


def warm_up(end_s: int = 2700, step_s: int = 5, **values: float) -> list[Item]:
    """Return whole degrees of a warm-up that passes through 80 to 90 degC."""
    return [reading(t, round(warm_c(t)), **values) for t in range(0, end_s, step_s)]


def with_marks(items: Iterable[Item], *marks: tuple[float, MarkName, str]) -> list[Item]:
    """Return the items and the marks in order of time."""
    added = [Mark(at_s, name, note) for at_s, name, note in marks]
    return sorted([*items, *added], key=lambda item: item.elapsed_s)
