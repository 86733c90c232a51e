"""Which fluid readings are believed.

Refused, kept and told, never used: a value the link doubts, one outside the plausible range (a
sensor's fault code is there), one whose time does not run forward, and a jump that physics
forbids. A refused level that stays for PERSIST_S with PERSIST_COUNT readings that agree with each
other is believed from then on: continuity is lost, but the tool does not stay blind to a real
change.
"""

import math
from collections.abc import Mapping
from typing import NamedTuple

from warmwatch.core.reading import Reading
from warmwatch.core.reason import Reason
from warmwatch.core.units import implausible, is_plausible, plausible

# A 20 kW hold heats 6 kg of fluid at 2.1 kJ/kgK by 1.6 K/s when nothing else takes up heat
# (torque x speed at stall; computed), so faster is not the fluid; the step allows quantisation.
MAX_RATE_C_PER_S = 2.0
MAX_STEP_C = 3.0
BACKWARDS = Reason("time-backwards")
PERSIST_S = 3.0
PERSIST_COUNT = 4


class Verdict(NamedTuple):
    """The believed temperature, or why there is none; `fresh` says that continuity was lost."""

    fluid_c: float | None
    reason: Reason | None = None
    fresh: bool = False


class Trust:
    """Judges each reading's fluid temperature against the last believed one."""

    def __init__(self) -> None:
        self._last: tuple[float, float] | None = None
        self._clock_s = -math.inf
        self._rival: tuple[float, float] | None = None
        self._rival_since_s = 0.0
        self._rival_count = 0

    def judge(self, reading: Reading) -> Verdict | None:
        """Return the verdict, or None when the reading says nothing about the fluid."""
        if "fluid_c" in reading.doubts:
            return Verdict(None, Reason.parse(reading.doubts["fluid_c"]))
        fluid_c = reading.values.get("fluid_c")
        if fluid_c is None:
            return None
        if reading.elapsed_s <= self._clock_s:
            return Verdict(None, BACKWARDS)
        self._clock_s = reading.elapsed_s
        if not is_plausible("fluid_c", fluid_c):
            return Verdict(None, implausible("fluid_c", fluid_c))
        return self._judge_jump(reading.elapsed_s, fluid_c)

    def _judge_jump(self, elapsed_s: float, fluid_c: float) -> Verdict:
        if self._last is None or follows(self._last, elapsed_s, fluid_c):
            self._believe(elapsed_s, fluid_c)
            return Verdict(fluid_c)
        if self._rival_stays(elapsed_s, fluid_c):
            self._believe(elapsed_s, fluid_c)
            return Verdict(fluid_c, Reason("jumped-and-stayed"), fresh=True)
        return Verdict(None, Reason("jump", {"to_c": fluid_c}))

    def _believe(self, elapsed_s: float, fluid_c: float) -> None:
        self._last = (elapsed_s, fluid_c)
        self._rival = None

    def _rival_stays(self, elapsed_s: float, fluid_c: float) -> bool:
        if self._rival is None or not follows(self._rival, elapsed_s, fluid_c):
            self._rival_since_s, self._rival_count = elapsed_s, 0
        self._rival = (elapsed_s, fluid_c)
        self._rival_count += 1
        return self._rival_count >= PERSIST_COUNT and elapsed_s - self._rival_since_s >= PERSIST_S


def follows(last: tuple[float, float], elapsed_s: float, fluid_c: float) -> bool:
    """Return whether a fluid at last = (elapsed_s, fluid_c) can be at `fluid_c` by now."""
    allowed_c = MAX_STEP_C + MAX_RATE_C_PER_S * (elapsed_s - last[0])
    return abs(fluid_c - last[1]) <= allowed_c


def believable(reading: Reading) -> Mapping[str, float]:
    """Return the values that can be real and that the link itself does not doubt."""
    values = plausible(reading.values)
    if not reading.doubts or reading.doubts.keys().isdisjoint(values):
        return values
    return {name: value for name, value in values.items() if name not in reading.doubts}
