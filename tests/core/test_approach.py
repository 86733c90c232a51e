"""Which announcement still holds: what the screen shows between two events (core/approach.py)."""

from dataclasses import replace

import pytest

from warmwatch.core.approach import Approach
from warmwatch.core.band import Band, Place
from warmwatch.core.events import EventKind
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.core.job import Job

JOB = Job(Band(80.0, 95.0), lead_s=180.0, top_lead_s=120.0)
LATER = Forecast(0.0, "low", 300.0, 400.0, 500.0, 0.9, None, 1.0, "enter")
E = EventKind


def holds(
    said: EventKind, place: Place, fluid_c: float | None, mid_s: float | None = 400.0
) -> EventKind | None:
    approach = Approach(JOB)
    approach.event(said)
    return approach.holds(place, fluid_c, replace(LATER, q50_s=mid_s))


@pytest.mark.parametrize(
    ("said", "place", "fluid_c", "mid_s", "still"),
    [
        (E.NEARING, Place.BELOW, 70.0, 270.0, True),  # one and a half leads of three minutes
        (E.NEARING, Place.BELOW, 70.0, 270.1, False),
        (E.NEARING, Place.BELOW, 78.0, None, True),  # two degrees
        (E.NEARING, Place.BELOW, 77.9, None, False),
        (E.NEARING, Place.ABOVE, 97.0, None, True),
        (E.NEARING, Place.ABOVE, 97.1, None, False),
        (E.NEARING, Place.INSIDE, 81.0, 10.0, False),
        (E.NEARING, Place.BELOW, None, 10.0, False),
        (E.TOP_NEARING, Place.INSIDE, 85.0, 180.0, True),  # one and a half leads of two minutes
        (E.TOP_NEARING, Place.INSIDE, 85.0, 180.1, False),
        (E.TOP_NEARING, Place.INSIDE, 93.0, None, True),
        (E.TOP_NEARING, Place.INSIDE, 92.9, None, False),
        (E.TOP_NEARING, Place.BELOW, 79.0, 10.0, False),
        (E.BOTTOM_NEARING, Place.INSIDE, 82.0, None, True),
        (E.BOTTOM_NEARING, Place.INSIDE, 82.1, None, False),
        (E.BOTTOM_NEARING, Place.ABOVE, 96.0, 10.0, False),
    ],
)
def test_near_holds_within_two_degrees_or_one_and_a_half_leads(
    said: EventKind, place: Place, fluid_c: float | None, mid_s: float | None, still: bool
) -> None:
    """Looser than the announcement, so that it does not flicker; the figures are ours."""
    assert holds(said, place, fluid_c, mid_s) is (said if still else None)


@pytest.mark.parametrize(
    ("chance", "place", "still"),
    [
        (0.59, Place.BELOW, True),
        (0.6, Place.BELOW, False),
        (0.1, Place.INSIDE, False),
        (0.1, Place.ABOVE, True),
    ],
)
def test_levelling_off_holds_until_the_chance_is_good_again(
    chance: float, place: Place, still: bool
) -> None:
    """Below a chance of 0.6, as the announcement itself is news again from there on (ours)."""
    approach = Approach(JOB)
    approach.event(E.LEVELLING_OFF)
    found = approach.holds(place, 75.0, replace(LATER, chance=chance))
    assert found is (E.LEVELLING_OFF if still else None)
    assert approach.holds(place, 75.0, None) is None


@pytest.mark.parametrize("end", [E.ENTERED, E.LEFT_HIGH, E.LEFT_LOW, E.BLIND, E.SEEING])
def test_a_change_of_place_or_sight_ends_what_was_said(end: EventKind) -> None:
    """And a doubtful reading, or a mark that was noted, does not."""
    approach = Approach(JOB)
    assert approach.holds(Place.BELOW, 79.0, LATER) is None
    approach.event(E.NEARING)
    approach.event(E.DOUBTFUL)
    approach.event(E.NOTED)
    assert approach.holds(Place.BELOW, 79.0, LATER) is E.NEARING
    approach.event(end)
    assert approach.holds(Place.BELOW, 79.0, LATER) is None
