"""One vehicle visit: the band, the labels and every limit the fold works with."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any

from warmwatch.core.band import Band
from warmwatch.core.level.amounts import fluid_from_mapping, fluid_to_mapping
from warmwatch.core.level.ledger import FluidData
from warmwatch.core.level.rules import CheckRules, rules_from_mapping, rules_to_mapping
from warmwatch.core.paperwork import (
    Shop,
    Work,
    section_to_mapping,
    shop_from_mapping,
    work_from_mapping,
)

ABSURD_BAND_C = 150.0
"""No check temperature is so hot: degF were meant."""
COLDEST_BAND_C = -39.0
BLINDEST_S = 60.0
"""However slow the link, silence longer than this is told."""


@dataclass(frozen=True, slots=True)
class Job:
    """What the watch is to watch for; temperatures in degC, times in seconds.

    `unit` is the unit of show ("C" or "F"). `poll_s` is the usual time between readings where the
    link knows it. `drain_band` is the range for draining warm, `notes` free text for the proof.
    Raises ValueError, naming the key, when a value makes no sense.
    """

    band: Band
    vehicle: str = ""
    method: str = ""
    band_source: str = ""
    unit: str = "C"
    lead_s: float = 180.0
    top_lead_s: float = 120.0
    deadband_c: float = 1.0
    confirm_s: float = 3.0
    blind_s: float = 5.0
    poll_s: float | None = None
    hold_limit_s: float = 5.0
    rest_s: float = 60.0
    fluid_ceiling_c: float = 110.0
    coolant_ceiling_c: float = 115.0
    notes: str = ""
    drain_band: Band | None = None
    fluid: FluidData = field(default_factory=FluidData)
    check: CheckRules = field(default_factory=CheckRules)
    shop: Shop = field(default_factory=Shop)
    work: Work = field(default_factory=Work)

    def __post_init__(self) -> None:
        if self.band.high_c > ABSURD_BAND_C:
            raise ValueError(
                f"band: {self.band.low_c:g} to {self.band.high_c:g} °C is hotter than any check "
                f"temperature; if °F were meant, write {self.band.low_c:g}F:{self.band.high_c:g}F"
            )
        if self.band.low_c < COLDEST_BAND_C:
            raise ValueError(f"band: {self.band.low_c:g} °C is colder than any check temperature")
        if self.blind_s > BLINDEST_S:
            raise ValueError(
                f"blind_s: {self.blind_s:g} s is too long to go without a reading; "
                f"at most {BLINDEST_S:g}"
            )
        if self.unit not in ("C", "F"):
            raise ValueError(f"unit: {self.unit!r} is neither C nor F")
        for name in _TIMES:
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise ValueError(f"{name}: {value!r} is not a time above zero")
        for name in ("deadband_c", "fluid_ceiling_c", "coolant_ceiling_c"):
            if not math.isfinite(getattr(self, name)) or getattr(self, name) < 0:
                raise ValueError(f"{name}: {getattr(self, name)!r} is not a temperature")

    @property
    def blind_limit_s(self) -> float:
        """How long silence may last: `blind_s` or three usual poll periods, whichever is more.

        Never more than BLINDEST_S.
        """
        return min(max(self.blind_s, 3.0 * (self.poll_s or 0.0)), BLINDEST_S)


_TIMES = ("lead_s", "top_lead_s", "confirm_s", "blind_s", "hold_limit_s", "rest_s")
_SECTIONS = ("band", "drain_band", "fluid", "check", "shop", "work")
_KEYS = {field.name: field.type for field in fields(Job) if field.name not in _SECTIONS}


def job_to_mapping(job: Job) -> dict[str, Any]:
    """Return the job as JSON values; `job_from_mapping` reads it back."""
    plain = {name: getattr(job, name) for name in _KEYS}
    return {
        "band": _band_mapping(job.band),
        **plain,
        "drain_band": None if job.drain_band is None else _band_mapping(job.drain_band),
        "fluid": fluid_to_mapping(job.fluid),
        "check": rules_to_mapping(job.check),
        "shop": section_to_mapping(job.shop),
        "work": section_to_mapping(job.work),
    }


def _band_mapping(band: Band) -> dict[str, float]:
    return {"low_c": band.low_c, "high_c": band.high_c}


def job_from_mapping(mapping: Mapping[str, Any]) -> Job:
    """Return the job that `job_to_mapping` gave.

    Unknown keys are refused: a limit that is misspelt must not be silently without effect. Raises
    ValueError naming the key.
    """
    job = Job(_band("band", mapping.get("band")), unit=mapping.get("unit", "C"))
    given = {key: _checked(key, mapping[key], job.unit) for key in mapping if key != "band"}
    return replace(job, **given)


def _band(key: str, band: Any) -> Band:
    if not isinstance(band, Mapping) or not {"low_c", "high_c"} <= band.keys():
        raise ValueError(f"{key}: low_c and high_c are needed")
    return Band(_number(key, band["low_c"]), _number(key, band["high_c"]))


_READERS: dict[str, Callable[[Mapping[str, Any]], Any]] = {
    "fluid": fluid_from_mapping,
    "check": rules_from_mapping,
    "shop": shop_from_mapping,
    "work": work_from_mapping,
}


def _checked(key: str, value: Any, unit: str) -> Any:
    if key == "drain_band":
        return None if value is None else _band(key, value)
    if key in _READERS:
        if not isinstance(value, Mapping):
            raise ValueError(f"{key}: a section is needed, as [{key}]")
        return fluid_from_mapping(value, unit) if key == "fluid" else _READERS[key](value)
    if key not in _KEYS:
        raise ValueError(
            f"{key}: there is no such key; known are {', '.join((*_SECTIONS, *_KEYS))}"
        )
    if _KEYS[key] is str:
        if not isinstance(value, str):
            raise ValueError(f"{key}: a text in quotes is needed, not {value!r}")
        return value
    return None if value is None and key == "poll_s" else _number(key, value)


def _number(key: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{key}: a number is needed, not {value!r}")
    return float(value)
