"""Scenarios: from which temperatures the invented vehicle starts, and its stages."""

from dataclasses import dataclass
from random import Random

from warmwatch.core.reading import MarkName
from warmwatch.demo.driver import PlannedMark, Stage, Way
from warmwatch.demo.plant import Temperatures
from warmwatch.errors import UsageError

VISIT = "drive-idle"
"""The default: a drive, idling in park into the band, the check, and the way home uphill."""

PHASES = "idle-loaded-idle"
"""Three ways in one recording, ten minutes each."""

WHOLE = "whole-job"
"""A fluid change from beginning to end; see docs/proof.md."""
_DRAIN_C = 50.0

LONGEST_MIN = 240.0
_PLAIN_MIN = 75.0
_CHECK = (
    PlannedMark(45.0, MarkName.PLUG_OUT),
    PlannedMark(80.0, MarkName.DRIP),
    PlannedMark(130.0, MarkName.PLUG_IN),
)
_ACKNOWLEDGED = (PlannedMark(0.0, MarkName.ACKNOWLEDGE, "cautions for loading read (invented)"),)

METHODS = {
    VISIT: "a drive, then idling in park into the band, the check, and a drive uphill",
    Way.IDLE.value: "idling in park",
    Way.HEATER.value: "idling in park with the cabin heater at its highest",
    Way.FAST_IDLE.value: "idling in park at 1300 1/min",
    Way.DRIVE.value: "driving in town",
    Way.LOADED.value: "holds of 5 s against the brakes with a minute of rest between",
    PHASES: "ten minutes of idling, ten with holds, ten of idling",
    WHOLE: "warming to drain, draining, filling, a road test, the check, topping up, the check",
}


@dataclass(frozen=True, slots=True)
class Scenario:
    """What will be done, from which start; `seed` settles the small differences between runs."""

    method: str
    stages: tuple[Stage, ...]
    start: Temperatures
    ambient_c: float
    seed: int


def make_scenario(
    method: str = VISIT,
    *,
    seed: int = 1,
    minutes: float | None = None,
    band_c: tuple[float, float] = (80.0, 90.0),
    start_c: float | None = None,
    ambient_c: float | None = None,
) -> Scenario:
    """Return the scenario of a method; what is not given is drawn from the seed.

    Raises UsageError for an unknown method or a length out of range.
    """
    if method not in METHODS:
        raise UsageError(f"The demo knows no method {method!r}: use {', '.join(METHODS)}.")
    if minutes is not None and not 0.0 < minutes <= LONGEST_MIN:
        raise UsageError(f"The demo can last up to {LONGEST_MIN:g} minutes, not {minutes:g}.")
    chance = Random(f"start {seed}")  # noqa: S311 - an invented start, no secret
    drawn_ambient_c = round(chance.uniform(24.0, 28.0), 1) + (5.0 if method == VISIT else 0.0)
    warmer_c = 7.0 if method == VISIT else 0.0  # it has not stood for long
    drawn_start_c = chance.uniform(43.0, 46.0) + warmer_c
    drawn_coolant_c = chance.uniform(56.0, 62.0) + warmer_c
    air_c = drawn_ambient_c if ambient_c is None else ambient_c
    if start_c is not None:
        fluid_c, coolant_c = start_c, max(start_c, air_c)
    else:
        fluid_c, coolant_c = min(drawn_start_c, band_c[0] - 20.0), drawn_coolant_c
    start = Temperatures(fluid_c, fluid_c, fluid_c - 1.0, coolant_c)
    return Scenario(method, _stages(method, minutes, band_c), start, air_c, seed)


def _stages(method: str, minutes: float | None, band_c: tuple[float, float]) -> tuple[Stage, ...]:
    low_c, high_c = band_c
    if method == VISIT:
        return _visit(low_c, high_c)
    if method == WHOLE:
        return _whole_job(low_c, high_c)
    if method == PHASES:
        return _phases(60.0 * (30.0 if minutes is None else minutes) / 3.0)
    way = Way(method)
    marks = _ACKNOWLEDGED if way is Way.LOADED else ()
    seconds = 60.0 * (_PLAIN_MIN if minutes is None else minutes)
    # Faster ways are kept up a little into the band: the case is behind and draws heat afterwards.
    depth = 0.05 if way in (Way.IDLE, Way.HEATER) else 0.3
    return (
        Stage(way, seconds, until_c=low_c + depth * (high_c - low_c), marks=marks),
        Stage(Way.IDLE, 480.0, marks=_CHECK),
    )


def _phases(seconds: float) -> tuple[Stage, ...]:
    return (
        Stage(Way.IDLE, seconds),
        Stage(Way.LOADED, seconds, marks=_ACKNOWLEDGED),
        Stage(Way.IDLE, seconds),
    )


_DRAINED = PlannedMark(420.0, MarkName.DRAINED, "4.25 L 50 C")
_FILLED = PlannedMark(170.0, MarkName.FILLED, "3.90 L 20 C")
_READY = (
    PlannedMark(5.0, MarkName.VEHICLE_LEVEL, "0.3 degrees lengthwise (invented)"),
    PlannedMark(20.0, MarkName.SELECTOR_CYCLED),
)
_TWO_CHECKS = (
    PlannedMark(60.0, MarkName.PLUG_OUT),
    PlannedMark(85.0, MarkName.NO_DRIP),
    PlannedMark(110.0, MarkName.PLUG_IN),
    PlannedMark(190.0, MarkName.TOPPED_UP, "0.60 L 20 C"),
    PlannedMark(215.0, MarkName.SELECTOR_CYCLED),
    PlannedMark(290.0, MarkName.PLUG_OUT),
    PlannedMark(300.0, MarkName.STREAM),
    PlannedMark(345.0, MarkName.DRIP),
    PlannedMark(365.0, MarkName.PLUG_IN),
    PlannedMark(380.0, MarkName.LEVEL_SET),
    PlannedMark(400.0, MarkName.LET_OUT, "0.36 L 82 C"),
    PlannedMark(420.0, MarkName.NOTE, "check plug, new seal, 35 Nm (invented)"),
)


def _whole_job(low_c: float, high_c: float) -> tuple[Stage, ...]:
    return (
        Stage(Way.IDLE, 2400.0, until_c=_DRAIN_C),
        Stage(Way.OFF, 480.0, marks=(_DRAINED,)),
        Stage(Way.REFILL, 180.0, marks=(_FILLED,)),
        Stage(Way.IDLE, 120.0),
        Stage(Way.DRIVE, 3000.0, until_c=low_c - 7.0),
        Stage(Way.IDLE, 2400.0, until_c=low_c + 1.0, marks=_READY),
        Stage(Way.IDLE, 460.0, marks=_TWO_CHECKS),
    )


def _visit(low_c: float, high_c: float) -> tuple[Stage, ...]:
    return (
        Stage(Way.DRIVE, 2400.0, until_c=low_c - 7.0),
        Stage(Way.IDLE, 2400.0, until_c=low_c + 0.7),
        Stage(Way.IDLE, 180.0, marks=_CHECK),
        Stage(Way.HILL, 2400.0, until_c=high_c + 1.5),
        Stage(Way.DRIVE, 40.0),
    )
