"""Small invented recordings and closed-form warm-ups for the tests of comparing."""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from warmwatch.analysis.methods.figures import Run
from warmwatch.analysis.methods.trace import Trace
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.reading import Item, Mark, MarkName, Reading, Tick
from warmwatch.recording.writer import create

BAND = Band(80.0, 90.0)
START_UTC_S = 1_700_000_000.0
RPM = {"idle": 720.0, "driving": 1800.0, "loaded": 2000.0}


@dataclass(frozen=True)
class Warm:
    """One lumped mass: dT/dt = rate - loss (T - ambient), exactly solved.

    Textbook (lumped capacitance): T(t) = T_end + (T0 - T_end) exp(-loss t), with
    T_end = ambient + rate/loss. Rates in degC/min, loss in 1/min.
    """

    rate: float = 2.0
    loss: float = 0.02
    start_c: float = 40.0
    ambient_c: float = 20.0

    @property
    def end_c(self) -> float:
        return self.ambient_c + self.rate / self.loss

    def at(self, seconds: float) -> float:
        decay = math.exp(-self.loss * seconds / 60.0)
        return self.end_c + (self.start_c - self.end_c) * decay

    def time_to(self, level_c: float) -> float:
        """Return t = tau ln((T_end - T0)/(T_end - level)) in seconds."""
        share = (self.end_c - self.start_c) / (self.end_c - level_c)
        return 60.0 / self.loss * math.log(share)

    def rate_at(self, fluid_c: float) -> float:
        return self.rate - self.loss * (fluid_c - self.ambient_c)


def values(fluid_c: float, phase: str = "idle", **more: float) -> dict[str, float]:
    speed = 40.0 if phase == "driving" else 0.0
    return {"fluid_c": fluid_c, "engine_rpm": RPM[phase], "speed_kmh": speed} | more


def warm_items(
    warm: Warm,
    seconds: float,
    *,
    every_s: float = 1.0,
    phase: str = "idle",
    noise_c: float = 0.0,
    digits: int = 6,
    seed: int = 1,
) -> Iterator[Item]:
    """Yield the readings of a warm-up."""
    chance = random.Random(seed)
    for number in range(int(seconds / every_s) + 1):
        now_s = number * every_s
        fluid_c = round(warm.at(now_s) + chance.gauss(0.0, noise_c), digits)
        more = {"ambient_c": warm.ambient_c, "coolant_c": min(90.0, 60.0 + now_s / 60.0)}
        yield Reading(now_s, values(fluid_c, phase, **more), utc_s=START_UTC_S + now_s)


def run_of(
    items: Iterator[Item] | list[Item],
    method: str = "idle",
    *,
    name: str = "",
    vehicle: str = "invented",
    job: Job | None = None,
) -> Run:
    """Return a run made of items, as if it had been read from a file."""
    job = job or Job(BAND)
    trace = Trace(job)
    for item in items:
        trace.step(item)
    features = trace.features()
    assert features is not None
    digest = f"{method} {name} {features.start_c} {features.climb_s}"
    return Run(name or method, digest, vehicle, method, job.band, features)


def write(
    folder: Path,
    items: Iterator[Item] | list[Item],
    *,
    method: str = "idle",
    vehicle: str = "invented",
    band: Band = BAND,
    close: bool = True,
    utc_s: float = START_UTC_S,
    unit: str = "C",
) -> Path:
    """Write items as a recording, as the session would, and return its path."""
    job = Job(band, vehicle=vehicle, method=method, unit=unit)
    recorder = create(folder, job, "made:", {"invented": "Invented for a test."}, utc_s)
    last_s = 0.0
    for item in items:
        recorder.item(item)
        last_s = item.elapsed_s
    if close:
        recorder.close(last_s, utc_s + last_s)
    else:
        recorder.abandon()
    return recorder.path


def gap(at_s: float, why: str = "the laptop slept") -> Tick:
    return Tick(at_s, why, START_UTC_S + at_s)


def mark(at_s: float, name: MarkName) -> Mark:
    return Mark(at_s, name, utc_s=START_UTC_S + at_s)
