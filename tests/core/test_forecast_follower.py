"""When the members move on and what pulls them: a spy stands where they would be."""

from typing import Any, cast

import pytest

from warmwatch.core.forecast.ensemble import AIR, COOLANT, FLUID, Doing, Ensemble
from warmwatch.core.forecast.follower import Beside, Follower
from warmwatch.core.phase import Phase


class Spy:
    """Keeps what the members are told."""

    def __init__(self) -> None:
        self.began: list[tuple[Any, ...]] = []
        self.advanced: list[tuple[float, Doing]] = []
        self.observed: list[tuple[int, float]] = []
        self.bounds: tuple[float, float] = (0.0, 0.0)
        self.fluid_c = 50.0

    def begin(self, *given: Any) -> None:
        self.began.append(given)

    def advance(self, seconds: float, doing: Doing) -> None:
        self.advanced.append((seconds, doing))

    def observe(self, row: int, value: float, sd: float, doing: Doing) -> None:
        self.observed.append((row, value))

    def mean(self, row: int) -> float:
        return self.fluid_c

    def place(self, fluid_c: float, step_c: float) -> None:
        self.fluid_c = fluid_c

    def ahead(self, doing: Doing, low_c: float, high_c: float) -> None:
        self.bounds = low_c, high_c


def following() -> tuple[Follower, Spy]:
    spy = Spy()
    return Follower(cast(Ensemble, spy)), spy


def test_the_members_move_on_once_a_second_however_often_is_read() -> None:
    """At ten readings a second they make a step each second, and pass all of the time."""
    follower, spy = following()
    for tick in range(101):
        follower.update(tick / 10.0, 50.0, Phase.IDLE, Beside())
    assert len(spy.began) == 1
    assert sum(seconds for seconds, _ in spy.advanced) == pytest.approx(10.0)
    assert [seconds for seconds, _ in spy.advanced] == [0.0, *[1.0] * 10]


def test_a_change_of_way_is_taken_at_once() -> None:
    """What passed until then is of the way before."""
    follower, spy = following()
    for at_s, phase in ((0.0, Phase.IDLE), (1.0, Phase.IDLE), (1.25, Phase.DRIVING)):
        follower.update(at_s, 50.0, phase, Beside())
    follower.update(2.25, 50.0, Phase.DRIVING, Beside())
    assert [seconds for seconds, _ in spy.advanced] == [0.0, 1.0, 0.25, 1.0]
    assert [max(doing.mix, key=doing.mix.__getitem__) for _, doing in spy.advanced[2:]] == [
        Phase.IDLE,
        Phase.DRIVING,
    ]


def test_the_same_coolant_temperature_is_told_once() -> None:
    """A value that stands still pulls no more; each new one does, as does the air's."""
    follower, spy = following()
    for second, coolant_c in enumerate((70.0, 70.0, 71.0, 71.0)):
        follower.update(float(second), 50.0, Phase.IDLE, Beside(coolant_c, 20.0))
    told = [one for one in spy.observed if one[0] != FLUID]
    assert told == [(COOLANT, 70.0), (AIR, 20.0), (COOLANT, 71.0)]


@pytest.mark.parametrize(
    ("gap_s", "phase", "fluid_c", "way"),
    [
        (30.0, Phase.DRIVING, 50.0, Phase.DRIVING),
        (60.0, Phase.LOADED, 50.0, Phase.LOADED),
        (61.0, Phase.DRIVING, 50.0, Phase.IDLE),
        (61.0, Phase.IDLE, 50.0, Phase.IDLE),
        (600.0, Phase.IDLE, 47.9, Phase.OFF),
        (600.0, Phase.IDLE, 48.0, Phase.IDLE),
        (600.0, Phase.OFF, 50.0, Phase.OFF),
    ],
)
def test_a_gap_is_crossed_at_the_likeliest_way(
    gap_s: float, phase: Phase, fluid_c: float, way: Phase
) -> None:
    """Nobody held or drove through more than a minute of silence; a fluid that fell was off."""
    follower, spy = following()
    follower.update(1.0, 50.0, Phase.IDLE, Beside())
    follower.restart()
    follower.update(1.0 + gap_s, fluid_c, phase, Beside())
    assert spy.advanced[1] == (gap_s, Doing({way: 1.0}))
    assert spy.fluid_c == fluid_c


def test_a_start_after_a_restart_without_any_reading_is_a_start() -> None:
    """Lost before anything was seen: there is no gap to cross."""
    follower, spy = following()
    follower.restart()
    follower.update(100.0, 50.0, Phase.IDLE, Beside())
    assert [seconds for seconds, _ in spy.advanced] == [0.0]


def test_who_stands_on_the_edge_of_a_step_does_not_count_as_past_it() -> None:
    """A reading of whole degrees leaves the members within its step, less 3 % (ours)."""
    follower, spy = following()
    for second in range(60):
        follower.update(float(second), 50.0 + second // 20, Phase.IDLE, Beside())
    follower.ahead(Doing({Phase.IDLE: 1.0}))
    low_c, high_c = spy.bounds
    assert low_c == pytest.approx(52.03)
    assert high_c == pytest.approx(52.97)
