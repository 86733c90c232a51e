"""The `[check]` section of a job: what was told or measured beforehand, and the tolerances."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

AXES = ("lengthwise", "crosswise")


@dataclass(frozen=True, slots=True)
class CheckRules:
    """The `[check]` section of a job: what was told or measured beforehand, and the tolerances.

    `tilt_deg` is the vehicle's tilt by a digital level, None where it was not measured.
    """

    tilt_deg: float | None = None
    tilt_axis: str = ""
    tilt_limit_deg: float = 1.0
    in_park: bool = False
    selector_cycled: bool = False
    settle_rate_c_per_min: float = 3.0
    settle_s: float = 60.0
    idle_s: float = 60.0

    def __post_init__(self) -> None:
        if self.tilt_axis not in ("", *AXES):
            raise ValueError(f"tilt_axis: {self.tilt_axis!r} is none of {', '.join(AXES)}")
        if self.tilt_deg is not None and not abs(self.tilt_deg) <= 45.0:
            raise ValueError(f"tilt_deg: {self.tilt_deg!r} is no tilt of a parked vehicle")
        for name in ("tilt_limit_deg", "settle_rate_c_per_min", "settle_s", "idle_s"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0.0):
                raise ValueError(f"{name}: {value!r} is not a number above zero")


def rules_to_mapping(rules: CheckRules) -> dict[str, Any]:
    """Return the section as JSON values; `rules_from_mapping` reads it back."""
    return {field.name: getattr(rules, field.name) for field in fields(CheckRules)}


def rules_from_mapping(mapping: Mapping[str, Any]) -> CheckRules:
    """Return the `[check]` section; ValueError names the key that is wrong."""
    return CheckRules(**{key: _value(key, value) for key, value in mapping.items()})


_TYPES = {field.name: field.type for field in fields(CheckRules)}


def _value(key: str, value: Any) -> Any:
    if key not in _TYPES:
        raise ValueError(f"{key}: there is no such key in check; known are {', '.join(_TYPES)}")
    if key == "tilt_deg" and value is None:
        return None
    if _TYPES[key] in (bool, str):
        if type(value) is not _TYPES[key]:
            kind = "true or false" if _TYPES[key] is bool else "a text in quotes"
            raise ValueError(f"{key}: {kind} is needed, not {value!r}")
        return value
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{key}: a number is needed, not {value!r}")
    return float(value)
