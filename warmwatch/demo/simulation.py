"""The invented vehicle in motion, and the clock that it owns."""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from random import Random

from warmwatch.demo.driver import PlannedMark, demand
from warmwatch.demo.plant import Demand, Plant, Temperatures
from warmwatch.demo.scenario import Scenario

STEP_S = 0.5
_SLACK_S = 1e-6
_SENSOR_NOISE_K = 0.06


@dataclass(frozen=True, slots=True)
class State:
    """The vehicle at one moment; `fluid_c` is what the sump sensor sees, before it is quantised."""

    elapsed_s: float
    temps: Temperatures
    demand: Demand
    ambient_c: float
    fluid_c: float
    engine_rpm: float
    voltage_v: float
    stage: int
    made_j: float = 0.0
    lost_j: float = 0.0
    over: bool = False


class Vehicle:
    """Carries out a scenario in steps of STEP_S.

    `state` is replaced whole, so that any thread may read it. How time is cut into calls
    of `advance_to` changes nothing.
    """

    def __init__(self, scenario: Scenario, plant: Plant | None = None) -> None:
        self.scenario = scenario
        self._plant = Plant() if plant is None else plant
        self._chance = Random(f"noise {scenario.seed}")  # noqa: S311 - invented noise, no secret
        self._steps = 0
        self._stage_began_s = 0.0
        first = demand(scenario.stages[0].way, 0.0, scenario.start.coolant_c, scenario.seed)
        self.state = self._observed(
            State(0.0, scenario.start, first, scenario.ambient_c, 0.0, 0.0, 0.0, 0)
        )

    def advance_to(self, elapsed_s: float) -> None:
        """Let the vehicle run until `elapsed_s`; after the last stage it goes on as it was."""
        while (self._steps + 1) * STEP_S <= elapsed_s + _SLACK_S:
            self._step()

    def _step(self) -> None:
        before, scenario = self.state, self.scenario
        stage, over = self._stage(before)
        asked = demand(
            scenario.stages[stage].way,
            before.elapsed_s - self._stage_began_s,
            before.temps.coolant_c,
            scenario.seed,
        )
        temps, made_j, lost_j = self._plant.advance(before.temps, asked, scenario.ambient_c, STEP_S)
        self._steps += 1
        self.state = self._observed(
            replace(
                before,
                elapsed_s=self._steps * STEP_S,
                temps=temps,
                demand=asked,
                stage=stage,
                made_j=before.made_j + made_j,
                lost_j=before.lost_j + lost_j,
                over=over,
            )
        )

    def _stage(self, state: State) -> tuple[int, bool]:
        """Return the stage for the next step, and whether the last one is done."""
        stage = self.scenario.stages[state.stage]
        lasted = state.elapsed_s - self._stage_began_s >= stage.seconds - _SLACK_S
        hot = stage.until_c is not None and state.temps.sump_c >= stage.until_c
        if not (lasted or hot):
            return state.stage, state.over
        gave_up = stage.until_c is not None and not hot
        if gave_up or state.stage + 1 == len(self.scenario.stages):
            return state.stage, True
        if state.demand.speed_kmh > 0.0:
            return state.stage, False  # a drive ends where the vehicle stands
        self._stage_began_s = state.elapsed_s
        return state.stage + 1, False

    def _observed(self, state: State) -> State:
        noise = self._chance.gauss
        running = state.demand.engine_rpm
        return replace(
            state,
            fluid_c=state.temps.sump_c + noise(0.0, _SENSOR_NOISE_K),
            engine_rpm=running + noise(0.0, 6.0) if running else 0.0,
            voltage_v=(14.1 if running else 12.4) + noise(0.0, 0.03),
        )


@dataclass(frozen=True, slots=True)
class Outline:
    """What a scenario will come to: its length, when each stage begins, and when marks fall."""

    seconds: float
    stage_starts_s: tuple[float, ...]
    marks: tuple[tuple[float, PlannedMark], ...]


def outline(scenario: Scenario, longest_s: float) -> Outline:
    """Run a twin of the vehicle ahead, at most for `longest_s`, and return what it met."""
    twin = Vehicle(scenario)
    starts_s = [0.0]
    while not twin.state.over and twin.state.elapsed_s < longest_s:
        now_s, stage = twin.state.elapsed_s, twin.state.stage
        twin.advance_to(now_s + STEP_S)
        if twin.state.stage != stage:
            starts_s.append(now_s)
    seconds = twin.state.elapsed_s
    marks = tuple(
        (start_s + mark.after_s, mark)
        for (start_s, end_s), stage in zip(
            pairwise([*starts_s, seconds]), scenario.stages, strict=False
        )
        for mark in stage.marks
        if start_s + mark.after_s <= end_s
    )
    return Outline(seconds, tuple(starts_s), marks)


class VehicleClock:
    """Simulated time: it goes by only in `wait`, which also moves the vehicle.

    `wait(s)` takes s/pace seconds of real time, less what has been used since the last wait, so a
    slow machine makes the demo slower and never blind. `before` is called first, with the time so
    far, and may hold the vehicle back.
    """

    def __init__(
        self,
        vehicle: Vehicle,
        pace: float,
        start_utc_s: float,
        before: Callable[[float], None] = lambda elapsed_s: None,
        now: Callable[[], float] = time.monotonic,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._vehicle = vehicle
        self._pace = pace
        self._start_utc_s = start_utc_s
        self._before = before
        self._now = now
        self._sleep = sleep
        self._elapsed_s = 0.0
        self._waited_at: float | None = None
        self._lock = threading.Lock()

    def elapsed_s(self) -> float:
        """Simulated seconds since the start."""
        return self._elapsed_s

    def utc_s(self) -> float:
        """Simulated wall time: the start plus the elapsed time."""
        return self._start_utc_s + self._elapsed_s

    def wait(self, seconds: float) -> None:
        """Let `seconds` of simulated time go by."""
        self._before(self._elapsed_s)
        with self._lock:
            now = self._now()
            due = (now if self._waited_at is None else self._waited_at) + seconds / self._pace
            if due > now:
                self._sleep(due - now)
            self._waited_at = max(due, now)
            self._vehicle.advance_to(self._elapsed_s + seconds)
            self._elapsed_s += seconds
