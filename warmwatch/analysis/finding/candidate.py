"""What is ranked: samples of records, what surrounds them, and candidates."""

from collections.abc import Sequence
from dataclasses import dataclass

from warmwatch.analysis.finding.scales import Scale
from warmwatch.core.units import f_to_c

MIN_RISE_C = 4.0
"""With less rise than this nothing is told from noise."""
MIN_SAMPLES = 8


@dataclass(frozen=True, slots=True)
class Sample:
    """One answer: seconds on a clock that never runs back, and the record's bytes."""

    elapsed_s: float
    record: bytes


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What else is known: coolant as (elapsed_s, degC), and outside and intake air in degC."""

    coolant: Sequence[tuple[float, float]] = ()
    air_c: Sequence[float] = ()

    @property
    def references(self) -> list[tuple[str, float]]:
        """Where a fluid that stood over night may start."""
        found = [("the air", value) for value in self.air_c]
        if self.coolant:
            found.append(("the coolant's start", self.coolant[0][1]))
        return found

    @property
    def has_coolant_curve(self) -> bool:
        """True when the coolant is known well enough to compare with."""
        curve = self.coolant
        return len(curve) >= MIN_SAMPLES and curve[-1][1] - curve[0][1] >= MIN_RISE_C


@dataclass(frozen=True, slots=True)
class Candidate:
    """One place and scale, how well it fits (0 to 1), and why."""

    identifier: int
    first_byte: int
    scale: Scale
    record_length: int
    score: float
    start_c: float
    end_c: float
    evidence: tuple[str, ...]


def value_of(record: bytes, first_byte: int, scale: Scale) -> float:
    """Return degC: the number in the record at `first_byte`, at `scale`."""
    part = record[first_byte : first_byte + scale.length]
    value = int.from_bytes(part, "big", signed=scale.signed) * scale.factor + scale.offset
    return f_to_c(value) if scale.unit == "F" else value


def rise_time_s(curve: Sequence[tuple[float, float]], share: float = 0.5) -> float:
    """Seconds from the first point until `share` of the rise."""
    level = curve[0][1] + share * (curve[-1][1] - curve[0][1])
    return next((at_s for at_s, value in curve if value >= level), curve[-1][0]) - curve[0][0]
