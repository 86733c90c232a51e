"""The conditions of a check at their limits: the table of docs/proof.md, to the last digit.

The tolerances are common practice or ours (no source), as that page says; what is held here is that
they are kept to the reading.
"""

import math

import pytest

from warmwatch.core.band import Band, Place
from warmwatch.core.events import Event, EventKind
from warmwatch.core.job import Job
from warmwatch.core.level.conditions import (
    Condition,
    ConditionState,
    ConditionTracker,
    fitness,
    in_band,
)
from warmwatch.core.level.rules import CheckRules
from warmwatch.core.phase import Phase, PhaseTracker
from warmwatch.core.reading import Mark, MarkName, Reading
from warmwatch.core.watch import Watch

MET, UNMET, UNKNOWN = ConditionState.MET, ConditionState.NOT_MET, ConditionState.UNKNOWN
IDLE = {"engine_rpm": 760.0, "speed_kmh": 0.0}


class Seen:
    """The conditions alone, with the phases that they go by."""

    def __init__(self, rules: CheckRules | None = None) -> None:
        self.phases = PhaseTracker()
        self.tracker = ConditionTracker(rules or CheckRules(), self.phases, 5.0)
        self.now_s = 0.0

    def read(self, seconds: float, fluid_c: float = 88.0, **more: float) -> "Seen":
        """One reading a second, for so many seconds after the last."""
        for _ in range(round(seconds)):
            self.now_s += 1.0
            values = {**IDLE, **more}
            self.tracker.reading(self.now_s, values, self.phases.step(self.now_s, values))
            self.tracker.fluid(self.now_s, fluid_c)
        return self

    def __getitem__(self, name: str) -> Condition:
        found = self.tracker.judge(self.now_s, Place.INSIDE, blind=False)
        return {str(c.name): c for c in found}[name]


@pytest.mark.parametrize(
    ("values", "name", "state", "code"),
    [
        ({"engine_rpm": 299.9}, "engine-idling", UNMET, 7),
        ({"engine_rpm": 300.0}, "engine-idling", MET, None),
        ({"engine_rpm": 1399.9}, "engine-idling", MET, None),
        ({"engine_rpm": 1400.0}, "engine-idling", UNMET, 8),
        ({"speed_kmh": 1.0}, "vehicle-standing", MET, None),
        ({"speed_kmh": 1.1}, "vehicle-standing", UNMET, 5),
        ({"in_park": 1.0}, "selector-in-park", MET, None),
        ({"in_park": 0.0}, "selector-in-park", UNMET, 2),
        ({"oil_level_status": 0.0}, "level-status", MET, 0),
        ({"oil_level_status": 1.0}, "level-status", UNMET, 1),
        ({"oil_level_status": 9.0}, "level-status", UNMET, 9),
        ({"oil_level_status": 10.0}, "level-status", UNKNOWN, 10),
        ({"oil_level_status": 13.0}, "level-status", UNMET, 13),
    ],
)
def test_what_is_read_is_judged_to_the_limit(
    values: dict[str, float], name: str, state: ConditionState, code: int | None
) -> None:
    """Engine from 300 to below 1400 1/min, up to 1 km/h, in park; codes of J1939 SPN 3026."""
    found = Seen().read(1, **values)[name]
    assert (found.state, found.code) == (state, code)


@pytest.mark.parametrize(
    ("place", "blind", "state", "code"),
    [
        (Place.INSIDE, False, MET, None),
        (Place.BELOW, False, UNMET, 3),
        (Place.ABOVE, False, UNMET, 4),
        (Place.UNSEEN, False, UNKNOWN, None),
        (Place.INSIDE, True, UNKNOWN, None),
        (Place.ABOVE, True, UNKNOWN, None),
    ],
)
def test_the_band_is_met_only_where_the_fluid_is_seen_inside(
    place: Place, blind: bool, state: ConditionState, code: int | None
) -> None:
    """Too low is code 3 and too high code 4 of J1939 SPN 3026; blind, nothing is known."""
    found = in_band(place, blind=blind)
    assert (found.state, found.code) == (state, code)


@pytest.mark.parametrize(("seconds", "state"), [(60, UNMET), (61, MET)])
def test_idling_is_long_enough_at_a_minute(seconds: int, state: ConditionState) -> None:
    """Sixty seconds lie between the first reading at idle and the sixty-first."""
    found = Seen().read(5, engine_rpm=0.0).read(seconds)["idled"]
    assert found.state is state
    assert found.reason.figures == {"idled_s": seconds - 1.0, "needed_s": 60.0}


@pytest.mark.parametrize(("seconds", "state"), [(59, UNMET), (60, MET)])
def test_the_fluid_is_settled_a_minute_after_the_last_load(
    seconds: int, state: ConditionState
) -> None:
    """Counted from the last reading under load, and told in seconds."""
    found = Seen().read(5, engine_rpm=2000.0).read(seconds)["fluid-settled"]
    assert found.state is state
    if state is UNMET:
        assert found.reason.figures == {"since_s": 59.0, "needed_s": 60.0}


@pytest.mark.parametrize(
    ("per_min", "state"), [(3.0, MET), (3.01, UNMET), (-3.0, MET), (-3.01, UNMET)]
)
def test_the_fluid_is_settled_up_to_three_degrees_a_minute(
    per_min: float, state: ConditionState
) -> None:
    """Rising or falling; the rate is the slope of a straight line through the last minute."""
    seen = Seen()
    for second in range(100):
        seen.read(1, 85.0 + per_min * second / 60.0)
    found = seen["fluid-settled"]
    assert found.state is state
    assert found.reason.figures["rate_c_per_min"] == pytest.approx(per_min, abs=0.0005)


def test_the_rate_is_the_least_squares_slope_of_the_last_minute() -> None:
    """Against numpy's polyfit; known from 20 s and three readings on, and not across a loss."""
    import numpy as np

    seen, levels = Seen(), [85.0 + 2.0 * math.sin(second / 9.0) for second in range(100)]
    for second, level_c in enumerate(levels):
        seen.read(1, level_c)
        rate = seen.tracker.rate_c_per_min()
        assert (rate is not None) is (second >= 20)
        if rate is not None:
            last = levels[max(0, second - 60) : second + 1]
            slope = np.polyfit(np.arange(len(last)), last, 1)[0]
            assert rate == pytest.approx(60.0 * slope, abs=0.0006)
    seen.tracker.lose()
    assert seen.read(20).tracker.rate_c_per_min() is None
    assert seen.read(1).tracker.rate_c_per_min() == 0.0
    two = Seen()
    for at_s in (0.0, 30.0):
        two.tracker.fluid(at_s, 85.0)
    assert two.tracker.rate_c_per_min() is None


def test_a_rate_of_fast_readings_takes_one_a_second() -> None:
    """Ten readings a second give the slope of the same minute, in bounded memory."""
    seen = Seen()
    for tick in range(1000):
        seen.tracker.fluid(tick / 10.0, 80.0 + tick / 300.0)
    assert seen.tracker.rate_c_per_min() == pytest.approx(2.0, abs=0.001)


def test_a_rate_without_engine_speed_is_not_called_settled() -> None:
    """Nobody knows whether it was under load: not known, with the rate beside it."""
    tracker = ConditionTracker(CheckRules(), PhaseTracker(), 5.0)
    for second in range(60):
        tracker.reading(float(second), {}, Phase.UNKNOWN)
        tracker.fluid(float(second), 88.0)
    found = {str(c.name): c for c in tracker.judge(59.0, Place.INSIDE, blind=False)}
    assert found["fluid-settled"].state is UNKNOWN
    assert found["fluid-settled"].reason.code == "rate-without-rpm"
    assert fitness(tuple(found.values()))[0] is None


@pytest.mark.parametrize(
    ("deg", "axis", "state"),
    [(1.0, "", MET), (-1.0, "", MET), (1.01, "", UNMET), (45.0, "crosswise", UNMET)],
)
def test_a_tilt_within_one_degree_is_level(deg: float, axis: str, state: ConditionState) -> None:
    """docs/proof.md: within 1 degree; 45 is the most that a parked vehicle can have (ours)."""
    found = Seen(CheckRules(tilt_deg=deg, tilt_axis=axis)).read(1)["vehicle-level"]
    assert found.state is state
    assert found.reason.figures[f"{axis or 'tilt'}_deg"] == abs(deg)
    with pytest.raises(ValueError, match="tilt_deg"):
        CheckRules(tilt_deg=45.1)


@pytest.mark.parametrize(
    ("values", "lapsed"),
    [
        ({"engine_rpm": 0.0}, ["selector-cycled"]),
        ({"engine_rpm": 2000.0}, ["selector-in-park"]),
        ({"speed_kmh": 20.0}, ["selector-cycled", "selector-in-park", "vehicle-level"]),
        ({}, []),
    ],
)
def test_what_was_told_lapses_as_the_page_says(values: dict[str, float], lapsed: list[str]) -> None:
    """Park: not driven or loaded since; cycled: not driven or switched off; level: not driven."""
    told = CheckRules(tilt_deg=0.3, in_park=True, selector_cycled=True)
    seen = Seen(told).read(5).read(2, **values).read(10)
    names = ("selector-cycled", "selector-in-park", "vehicle-level")
    assert [name for name in names if seen[name].state is UNKNOWN] == lapsed


def test_a_level_taken_back_after_a_drive_stays_unknown() -> None:
    """The tilt of the place before the drive does not come back with it."""
    seen = Seen(CheckRules(tilt_deg=0.3)).read(5).read(5, speed_kmh=30.0).read(10)
    mark = Mark(seen.now_s, MarkName.VEHICLE_LEVEL, "0.4 lengthwise")
    seen.tracker.mark(mark)
    assert seen["vehicle-level"].state is MET
    seen.tracker.take_back(mark)
    assert seen["vehicle-level"].state is UNKNOWN


@pytest.mark.parametrize(("off_s", "told"), [(9, []), (10, ["fit"])])
def test_a_short_hindrance_is_not_told_as_over(off_s: int, told: list[str]) -> None:
    """In the band and fit, then a selector out of park for 9 s, or for 10 s (ours)."""
    rules = CheckRules(tilt_deg=0.3, selector_cycled=True)
    watch, kinds = Watch(Job(Band(85.0, 95.0), check=rules), ahead=False), []
    for second in range(200):
        fluid_c, in_park = (84.0, 1.0) if second < 90 else (86.0, 1.0)
        if 120 <= second < 120 + off_s:
            in_park = 0.0
        values = {"fluid_c": fluid_c, "in_park": in_park, **IDLE}
        for result in watch.step(Reading(float(second), values)):
            if isinstance(result, Event) and result.kind in (EventKind.ENTERED, EventKind.FIT):
                kinds.append(f"{result.kind} {result.fit}")
    assert kinds == ["entered True", *(f"{kind} True" for kind in told)]
