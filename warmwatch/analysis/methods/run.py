"""What one recording tells about its warm-up: small, plain values that can be kept and compared."""

from array import array
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Any


@dataclass(frozen=True, slots=True)
class Gap:
    """Continuity was lost between two good readings.

    `clock_known` says that the wall clock confirms how long it lasted, so that a duration across it
    may be used, though not what happened in it.
    """

    from_s: float
    to_s: float
    why: str
    clock_known: bool


@dataclass(frozen=True, slots=True)
class Stage:
    """A stretch of one way of running: `idle`, `driving`, `loaded` (holds with the rests between),
    `off` or `unknown`."""

    kind: str
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class Block:
    """Two minutes or so of a stage: the mean fluid temperature and the slope of the line through
    it."""

    kind: str
    at_s: float
    fluid_c: float
    rate_c_per_min: float


@dataclass(frozen=True, slots=True)
class Stay:
    """The longest stay in the band; `left_s` is None when it was not seen to end at an edge."""

    entered_s: float
    left_s: float | None
    ended_by: str
    lasted_s: float


@dataclass(frozen=True, slots=True)
class PlugOut:
    """The fluid at the first plug out, and how it moved while the plug was out (2 min at most)."""

    at_s: float
    fluid_c: float
    rate_c_per_min: float | None
    range_c: float | None


@dataclass(frozen=True, slots=True)
class Holds:
    """Holds against the brakes: how many, the longest, and how many broke a limit of the job."""

    count: int
    longest_s: float
    over_limit: int
    rest_missing: int


class Curve:
    """Points (elapsed_s, fluid_c) in their order; thousands of curves must fit into memory.

    >>> list(Curve([(0.0, 40.0), (10.0, 41.5)]))
    [(0.0, 40.0), (10.0, 41.5)]
    """

    __slots__ = ("_numbers",)

    def __init__(self, points: Iterable[tuple[float, float]]) -> None:
        self._numbers = array("d", chain.from_iterable(points))

    def __iter__(self) -> Iterator[tuple[float, float]]:
        return zip(self._numbers[::2], self._numbers[1::2], strict=True)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Curve) and self._numbers == other._numbers

    def __hash__(self) -> int:
        return hash(self._numbers.tobytes())

    def __repr__(self) -> str:
        return f"Curve({list(self)})"


@dataclass(frozen=True, slots=True)
class RunFeatures:
    """All that is kept of one recording; temperatures in degC, times in elapsed seconds.

    `climb_s[i]` is when the fluid first reached `climb_from_c + i` degC, None where that was not
    seen (in a gap). `low_s` is the same for the lower edge of the band, None when it was not
    reached or not seen. `peak_c` ends with the job (level-set, or the last plug-in). `curve` holds
    (elapsed_s, fluid_c) about every 10 s. `step_c` is the smallest change between two readings.
    `doubt` says why the values cannot be used at all.
    """

    readings: int
    good: int
    doubtful: int
    step_c: float
    first_s: float
    last_s: float
    start_c: float
    end_c: float
    peak_c: float
    still_rising: bool
    ambient_c: float | None
    coolant_start_c: float | None
    coolant_peak_c: float | None
    climb_from_c: int
    climb_s: tuple[float | None, ...]
    low_s: float | None
    window: Stay | None
    plug_out: PlugOut | None
    holds: Holds
    gaps: tuple[Gap, ...]
    stages: tuple[Stage, ...]
    blocks: tuple[Block, ...]
    curve: Curve
    doubt: str = ""

    def reached_s(self, level_c: float) -> float | None:
        """Return when a whole degC was first reached from below; None when that was not seen."""
        index = level_c - self.climb_from_c
        if index != int(index) or not 0 <= index < len(self.climb_s):
            return None
        return self.climb_s[int(index)]

    def gaps_between(self, from_s: float, to_s: float) -> tuple[Gap, ...]:
        """Return the gaps that lie at least partly between two times."""
        return tuple(gap for gap in self.gaps if gap.from_s < to_s and gap.to_s > from_s)


def features_from_mapping(mapping: Mapping[str, Any]) -> RunFeatures:
    """Return the features from JSON values: what json makes of `asdict`, with `default=list`.

    Raises TypeError or KeyError when they are none.
    """
    window, plug_out = mapping["window"], mapping["plug_out"]
    parts = {
        "climb_s": tuple(mapping["climb_s"]),
        "window": None if window is None else Stay(**window),
        "plug_out": None if plug_out is None else PlugOut(**plug_out),
        "holds": Holds(**mapping["holds"]),
        "gaps": tuple(Gap(**gap) for gap in mapping["gaps"]),
        "stages": tuple(Stage(**stage) for stage in mapping["stages"]),
        "blocks": tuple(Block(**block) for block in mapping["blocks"]),
        "curve": Curve(mapping["curve"]),
    }
    return RunFeatures(**{**mapping, **parts})
