"""What trying a link shows, step by step: `warmwatch link` prints it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from warmwatch.core.notice import Notice
from warmwatch.core.units import QUANTITIES, from_c
from warmwatch.links.address import Address

FLUID = "fluid temperature now"
"""The step that shows whether the fluid's temperature comes."""
SHORTEST_S = 0.3
"""A rate is told over no less time than this."""


_NOT_NAMED = "name the vehicle's own identifier with signals=FILE.toml, or use --find-temperature"
_NAMED = (
    "check the identifier and the unit (target) in the file; some units answer only with the "
    "engine running (outdoors: exhaust gas)"
)
_DOUBTED_NAMED = "check the scale and the range in the file"
_DOUBTED = (
    "the sender may need the running engine (outdoors: exhaust gas); if not, look up its "
    "sensor in the service information"
)


class StepState(StrEnum):
    """How a step went; unknown: it could not be found out, and things may work all the same."""

    OK = "ok"
    FAILED = "failed"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Step:
    """One step: what was tried, what was seen, and what to try next when it failed.

    `doubt` is why what was seen is not believed: a Reason's text, or words.
    """

    name: str
    state: StepState
    seen: str
    advice: str = ""
    doubt: str = ""


class TryAddress(Protocol):
    """A link module may offer this as `try_address`; without it the link is just listened to."""

    def __call__(self, address: Address, unit: str = "C") -> Iterator[Step]:
        """Yield steps as they are taken, each bounded in time; never raises a LinkError."""


@dataclass(frozen=True, slots=True)
class Heard:
    """One reading that came while a link was tried; `at_s` on any clock that never runs back."""

    at_s: float
    values: Mapping[str, float]
    doubts: Mapping[str, str]


def reading_steps(readings: Sequence[Heard], *, named: bool, unit: str = "C") -> list[Step]:
    """Return what the readings of a trial show: the fluid now, the rest now, and the rate.

    `named`: the address says where the fluid is found, in a signal or database file. `unit` is "C"
    or "F", for temperatures.
    """
    fluid = _fluid_step(readings, named, unit)
    return [fluid, _others_step(readings, unit), _rate_step(readings)]


def notice_state(notice: Notice) -> StepState:
    """Return how the step of a notice went."""
    return StepState.FAILED if notice.lost or notice.alarm else StepState.OK


def names_fluid(address: Address) -> bool:
    """True when the address names a file that should say where the fluid is found."""
    return "signals" in address.options or "database" in address.options


def _fluid_step(readings: Sequence[Heard], named: bool, unit: str) -> Step:
    name = FLUID
    for reading in reversed(readings):
        if doubt := reading.doubts.get("fluid_c"):
            advice = _DOUBTED_NAMED if named else _DOUBTED
            return Step(name, StepState.FAILED, "not believed", advice, doubt)
        if "fluid_c" in reading.values:
            shown = f"{from_c(reading.values['fluid_c'], unit):.1f} °{unit}"
            return Step(name, StepState.OK, shown)
    return Step(name, StepState.FAILED, "none came", _NAMED if named else _NOT_NAMED)


def _others_step(readings: Sequence[Heard], unit: str) -> Step:
    latest: dict[str, float] = {}
    for reading in readings:
        latest.update(reading.values)
    latest.pop("fluid_c", None)
    shown = ", ".join(_value(name, value, unit) for name, value in sorted(latest.items()))
    return Step("other values now", StepState.OK if shown else StepState.UNKNOWN, shown or "none")


def _value(name: str, value: float, unit: str) -> str:
    quantity = QUANTITIES.get(name)
    if quantity is None:
        return f"{name.replace('_', ' ')} {value:g}"
    if quantity.unit in _NO_UNIT:
        return f"{name.replace('_', ' ')} {value:g}"
    what = name.rpartition("_")[0].replace("_", " ")
    if quantity.unit == "degC":
        return f"{what} {round(from_c(value, unit), 1):g} °{unit}"
    return f"{what} {value:.4g} {quantity.unit}"


_NO_UNIT = ("0/1", "code")


def _rate_step(readings: Sequence[Heard]) -> Step:
    times = [reading.at_s for reading in readings if "fluid_c" in reading.values]
    times = times or [reading.at_s for reading in readings]
    # What came all at once, from a pipe, says nothing about a rate.
    if len(times) < 2 or times[-1] - times[0] < SHORTEST_S:
        return Step("readings a second", StepState.UNKNOWN, "too few came to say")
    rate = (len(times) - 1) / (times[-1] - times[0])
    return Step("readings a second", StepState.OK, f"{rate:.1f}")
