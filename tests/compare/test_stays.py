"""How long the invented fluid stays in the band after each way, and why: docs/compare.md says so.

The invented vehicle's own temperatures are used, before any sensor. That the stay is shorter while
heat is still being made is common practice, no source; the rest follows from four masses.
"""

from functools import cache

import pytest

from tests.evaluation.stages import vehicle_of
from warmwatch.demo.driver import Stage, Way
from warmwatch.demo.plant import Temperatures

pytestmark = pytest.mark.slow

LOW_C, HIGH_C = 80.0, 90.0
SEEDS = (1, 3)


@cache
def history(way: Way, seed: int, share: float | None) -> tuple[Temperatures, ...]:
    """Return a warm-up second by second: `way` up to a share of the band, then idling.

    With None as the share the way goes on.
    """
    plan = [Stage(way, 9000.0)]
    if share is not None:
        until_c = LOW_C + share * (HIGH_C - LOW_C)
        plan = [Stage(way, 9000.0, until_c=until_c), Stage(Way.IDLE, 9000.0)]
    vehicle = vehicle_of(plan, 62.0, 25.0, seed)
    seen = []
    for second in range(9000):
        vehicle.advance_to(float(second))
        seen.append(vehicle.state.temps)
    return tuple(seen)


def stay_min(way: Way, seed: int, share: float | None) -> float:
    """Return minutes from the first moment in the band to the first above it."""
    fluid = [temps.sump_c for temps in history(way, seed, share)]
    entered_s = next(s for s, c in enumerate(fluid) if c >= LOW_C)
    return (next(s for s, c in enumerate(fluid) if c > HIGH_C) - entered_s) / 60.0


@pytest.mark.parametrize("seed", SEEDS)
def test_a_stay_is_short_while_heat_is_still_made(seed: int) -> None:
    """Holds that go on leave the band within 6 min, drives within 15, idling after 40 or more."""
    assert stay_min(Way.LOADED, seed, None) < 6.0
    assert 6.0 < stay_min(Way.DRIVE, seed, None) < 15.0
    assert stay_min(Way.IDLE, seed, None) > 40.0


@pytest.mark.parametrize("seed", SEEDS)
def test_what_ends_at_the_edge_stays_as_long_as_idling(seed: int) -> None:
    """Whatever warmed it, a fluid that idles from the lower edge on stays as long as after idling.

    This model does not make the stay after holds shorter by itself: the case, which is behind,
    draws the fluid's lead away.
    """
    idling = stay_min(Way.IDLE, seed, None)
    for way in (Way.LOADED, Way.FAST_IDLE):
        assert stay_min(way, seed, 0.0) == pytest.approx(idling, rel=0.25)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_further_holds_go_on_the_shorter_the_stay(seed: int) -> None:
    """Kept up half way into the band, and nearly to the top, holds leave less and less time."""
    stays = [stay_min(Way.LOADED, seed, share) for share in (0.0, 0.5, 0.9)]
    assert stays[0] > 1.15 * stays[1] > 1.15 * 1.15 * stays[2]


@pytest.mark.parametrize("seed", SEEDS)
def test_after_holds_the_fluid_rises_then_gives_its_lead_to_the_case(seed: int) -> None:
    """At the end of holds the converter is hotter and the case colder than the fluid: it rises on
    for a minute or two, then falls while the case comes up (heat flows from hot to cold)."""
    seen = history(Way.LOADED, seed, 0.0)
    end = next(i for i, temps in enumerate(seen) if temps.sump_c >= LOW_C)
    assert seen[end].converter_c > seen[end].sump_c > seen[end].case_c + 1.0
    top = max(range(end, end + 150), key=lambda i: seen[i].sump_c)
    assert seen[top].sump_c > seen[end].sump_c
    after = min(seen[top : top + 600], key=lambda temps: temps.sump_c)
    assert after.sump_c < seen[top].sump_c - 0.3
    assert after.case_c > seen[end].case_c
