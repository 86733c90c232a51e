"""The fluid ledger: what came out and what went in, brought to one temperature.

The uncertainty follows the GUM (JCGM 100:2008): a stated reading error is half the width of a
rectangular distribution (standard uncertainty = error / sqrt 3), errors of cans and thermometers
are independent, the error of the density is the same in every line; the expanded uncertainty has
a coverage factor of 2, about 95 %.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from warmwatch.core.level.fluid import BASE_C, DENSITY_KG_M3, alpha15, check_density, vcf, volume_at
from warmwatch.core.volume import UNITS

MAX_LINES = 50
LITRES_ERR = 0.05
"""Half a mark of a can with marks every 0.1 L (ours, no source)."""
TEMP_ERR_C = 5.0
DENSITY_ERR_KG_M3 = 20.0


class Act(StrEnum):
    """What was done with the fluid."""

    DRAINED = "drained"
    FILLED = "filled"
    LET_OUT = "let-out"
    TOPPED_UP = "topped-up"


INTO = {Act.DRAINED: -1.0, Act.FILLED: 1.0, Act.LET_OUT: -1.0, Act.TOPPED_UP: 1.0}


def check_unit(unit: str) -> None:
    """Raise ValueError when it is no unit of volume."""
    if unit not in UNITS:
        raise ValueError(f"volume: {unit!r} is none of {', '.join(UNITS)}")


@dataclass(frozen=True, slots=True)
class Entry:
    """One line: `litres` as read at `temp_c`, each with the half-width of its error.

    `unit` is the unit of volume in which it was told.
    """

    act: Act
    litres: float
    temp_c: float
    litres_err: float = LITRES_ERR
    temp_err_c: float = TEMP_ERR_C
    unit: str = "L"

    def __post_init__(self) -> None:
        check_unit(self.unit)
        if not 0.0 < self.litres <= 100.0:
            raise ValueError(f"litres: {self.litres:g} is no amount between 0 and 100")
        if not 0.0 <= self.litres_err <= 10.0 or not 0.0 <= self.temp_err_c <= 50.0:
            raise ValueError("litres_err and temp_err_c: small errors of zero or more are needed")
        if not -40.0 <= self.temp_c <= 150.0:
            raise ValueError(f"temp: {self.temp_c:g} °C is no temperature of fluid in a can")


@dataclass(frozen=True, slots=True)
class FluidData:
    """The `[fluid]` section of a job: `capacity_l` is all the fluid, None where not known.

    `volume` is the unit of amounts, one of volume.UNITS; empty where nobody told.
    """

    capacity_l: float | None = None
    density_kg_m3: float = DENSITY_KG_M3
    density_err_kg_m3: float = DENSITY_ERR_KG_M3
    ledger: tuple[Entry, ...] = ()
    volume: str = ""

    def __post_init__(self) -> None:
        if self.volume:
            check_unit(self.volume)
        check_density(self.density_kg_m3)
        if not 0.0 <= self.density_err_kg_m3 <= 100.0:
            raise ValueError("density_err_kg_m3: a small error of zero or more is needed")
        if self.capacity_l is not None and not 0.5 <= self.capacity_l <= 100.0:
            raise ValueError(f"capacity_l: {self.capacity_l:g} L is no transmission's fluid")
        if len(self.ledger) > MAX_LINES:
            raise ValueError(f"ledger: more than {MAX_LINES} lines")


@dataclass(frozen=True, slots=True)
class Balance:
    """The ledger summed up, in litres at 15 degC; `spread_l` is the expanded uncertainty (k = 2).

    `net_l` is above zero when more went in than came out.
    """

    out_l: float
    put_back_l: float
    net_l: float
    spread_l: float
    complete: bool

    @property
    def closes(self) -> bool:
        """Return whether the difference lies within the reading errors."""
        return self.complete and abs(self.net_l) <= self.spread_l


def balance(fluid: FluidData) -> Balance:
    """Return the balance; it is complete when something was drained and something filled in."""
    entries = fluid.ledger
    out_l = sum(at_15(e, fluid) for e in entries if e.act is Act.DRAINED)
    net_l = sum(INTO[e.act] * at_15(e, fluid) for e in entries)
    acts = {entry.act for entry in entries}
    return Balance(
        out_l=out_l,
        put_back_l=net_l + out_l,
        net_l=net_l,
        spread_l=_spread(fluid),
        complete=Act.DRAINED in acts and bool({Act.FILLED, Act.TOPPED_UP} & acts),
    )


def at_15(entry: Entry, fluid: FluidData) -> float:
    """Return an entry's litres at 15 degC."""
    return entry.litres * vcf(fluid.density_kg_m3, entry.temp_c)


def _spread(fluid: FluidData) -> float:
    rho, by_density, variance = fluid.density_kg_m3, 0.0, 0.0
    for entry in fluid.ledger:
        factor = vcf(rho, entry.temp_c)
        slope = (vcf(rho, entry.temp_c + 0.5) - vcf(rho, entry.temp_c - 0.5)) * entry.litres
        variance += (factor * entry.litres_err) ** 2 + (slope * entry.temp_err_c) ** 2
        # d ln VCF / d rho = a dT (1 + 1.6 a dT) / rho
        lean = -math.log(factor) + 0.8 * (alpha15(rho) * (entry.temp_c - BASE_C)) ** 2
        by_density += INTO[entry.act] * entry.litres * factor * lean / rho
    variance += (by_density * fluid.density_err_kg_m3) ** 2
    return 2.0 * math.sqrt(variance / 3.0)


def first_fill_l(fluid: FluidData, fill_c: float) -> float | None:
    """Return how many litres at `fill_c` replace what was drained; None before anything was."""
    drained = [entry for entry in fluid.ledger if entry.act is Act.DRAINED]
    if not drained:
        return None
    return sum(volume_at(e.litres, e.temp_c, fill_c, fluid.density_kg_m3) for e in drained)


def shown_unit(fluid: FluidData) -> str:
    """Return the unit in which amounts are shown: the one told, else quarts where any were."""
    if fluid.volume:
        return fluid.volume
    return "qt" if any(entry.unit in ("qt", "oz") for entry in fluid.ledger) else "L"
