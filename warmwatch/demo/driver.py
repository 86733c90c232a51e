"""What the invented driver does: stages of idling, driving and loading, and what each asks for.

Nothing here advises anybody to do the same. `loaded` (holding the engine against the brakes) is in
the list because people ask how it compares; it can hurt people and transmissions, and the service
information may forbid it.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from random import Random

from warmwatch.core.reading import MarkName
from warmwatch.demo.plant import Demand

IDLE_RPM = 720.0
HOLD_S = 5.0
REST_S = 60.0  # common practice, no source: holds of at most 5 s, then a minute at idle in park
_CYCLE_S = 75.0


class Way(StrEnum):
    """One way of running the vehicle."""

    IDLE = "idle"
    HEATER = "heater"
    FAST_IDLE = "fast-idle"
    DRIVE = "drive"
    HILL = "hill"
    LOADED = "loaded"
    OFF = "off"
    REFILL = "refill"


@dataclass(frozen=True, slots=True)
class PlannedMark:
    """What the invented mechanic does, `after_s` seconds into a stage."""

    after_s: float
    name: MarkName
    note: str = ""


@dataclass(frozen=True, slots=True)
class Stage:
    """One way for `seconds`, or until the fluid reaches `until_c`.

    If it does not reach it in that time the scenario ends: the driver gives up.
    """

    way: Way
    seconds: float
    until_c: float | None = None
    marks: tuple[PlannedMark, ...] = ()


_STANDING = Demand(0.0, 0.0, 0.0, load_pct=0.0, throttle_pct=0.0)


def demand(way: Way, into_s: float, coolant_c: float, seed: int) -> Demand:
    """Return what is asked of the vehicle `into_s` seconds into a stage."""
    asked = _asked(way, into_s, coolant_c, seed)
    return replace(asked, torque_nm=asked.torque_nm * _effort(seed))


@cache
def _effort(seed: int) -> float:
    """No two runs are quite alike: accessories, wind and the right foot differ by a few percent."""
    return Random(f"effort {seed}").uniform(0.94, 1.06)  # noqa: S311 - invented, no secret


def _asked(way: Way, into_s: float, coolant_c: float, seed: int) -> Demand:
    match way:
        case Way.DRIVE:
            return _drive(into_s, seed, hill=1.0)
        case Way.HILL:
            return _drive(into_s, seed, hill=1.8)
        case Way.LOADED:
            return _loaded(into_s, coolant_c)
        case Way.FAST_IDLE:
            return Demand(max(1300.0, _idle_rpm(coolant_c)), 8.2, 1.0, load_pct=26.0)
        case Way.HEATER:
            return _idle(coolant_c, heater=1.0)
        case Way.IDLE:
            return _idle(coolant_c)
        case Way.OFF:
            return _STANDING
        case Way.REFILL:
            return replace(_STANDING, pour_w_k=210.0)


def _idle_rpm(coolant_c: float) -> float:
    """Fast idle: higher while the coolant is cold, settled from 65 degC on."""
    return IDLE_RPM + 430.0 * min(1.0, max(0.0, (65.0 - coolant_c) / 45.0))


def _idle(coolant_c: float, heater: float = 0.0) -> Demand:
    return Demand(_idle_rpm(coolant_c), 8.2, 1.0, heater=heater)


def _loaded(into_s: float, coolant_c: float) -> Demand:
    """A rest in park for REST_S, then in gear against the brakes for HOLD_S, and so on."""
    if into_s % (HOLD_S + REST_S) >= REST_S:
        return Demand(2000.0, 100.0, 1.0, in_park=False, load_pct=88.0, throttle_pct=82.0)
    return _idle(coolant_c)


@cache
def _cycle(seed: int, number: int) -> tuple[float, float]:
    """Return the cruising speed in km/h and the standing time in s of one stretch of town."""
    chance = Random(f"town {seed} {number}")  # noqa: S311 - an invented drive, no secret
    return chance.uniform(34.0, 58.0), chance.uniform(6.0, 16.0)


def _drive(into_s: float, seed: int, hill: float) -> Demand:
    """Town driving in stretches of 75 s: pull away, cruise, brake, stand in gear."""
    number, at_s = divmod(into_s, _CYCLE_S)
    cruise_kmh, stand_s = _cycle(seed, int(number))
    pull_s, brake_s = cruise_kmh / 4.5, cruise_kmh / 8.0
    brake_at_s = _CYCLE_S - stand_s - brake_s
    if at_s < pull_s:
        return _rolling(cruise_kmh * at_s / pull_s, 95.0 * hill, 0.17)
    if at_s < brake_at_s:
        return _rolling(cruise_kmh, 42.0 * hill, 0.15)
    if at_s < brake_at_s + brake_s:
        return _rolling(cruise_kmh * (1.0 - (at_s - brake_at_s) / brake_s), 12.0, 0.6)
    return Demand(690.0, 27.0, 1.0, in_park=False, load_pct=33.0)


def _rolling(speed_kmh: float, torque_nm: float, loss: float) -> Demand:
    rpm = 950.0 + 38.0 * (speed_kmh % 18.0) + 8.0 * speed_kmh  # a gear for every 18 km/h
    load_pct = min(98.0, 16.0 + 0.5 * torque_nm)
    return Demand(rpm, torque_nm, loss, speed_kmh, False, load_pct, min(90.0, 8.0 + load_pct / 2))
