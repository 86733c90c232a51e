"""What the drip at the check plug says, while the fluid itself grows warmer.

Fluid that warms expands, so a drip need not stop: what warming alone explains is the volume's
expansion per degC times the rate. The advice is the trade's: a stream, let it run; a drip inside
the band, the level is set; no drip by the top of the band, low; dripping already at the bottom
edge (within 2 degC), at the high limit (common practice, no source).
"""

from dataclasses import dataclass
from enum import StrEnum

from warmwatch.core.band import Band, Place
from warmwatch.core.level.fluid import DROP_ML, expansion_ml_per_c
from warmwatch.core.level.ledger import FluidData
from warmwatch.core.reading import MarkName

BOTTOM_C = 2.0
TOP_C = 1.0
FLOWS = (MarkName.STREAM, MarkName.DRIP, MarkName.NO_DRIP)


@dataclass(frozen=True, slots=True)
class Drip:
    """What warming alone does; None where capacity or rate is not known."""

    ml_per_c: float | None
    ml_per_min: float | None
    drops_per_min: float | None


def by_warming(fluid: FluidData, fluid_c: float | None, rate_c_per_min: float | None) -> Drip:
    """Return the drip that warming alone explains at this temperature and rate.

    A fluid that does not warm explains none.
    """
    if fluid.capacity_l is None or fluid_c is None:
        return Drip(None, None, None)
    ml_per_c = expansion_ml_per_c(fluid.capacity_l, fluid_c, fluid.density_kg_m3)
    if rate_c_per_min is None:
        return Drip(ml_per_c, None, None)
    ml_per_min = ml_per_c * max(0.0, rate_c_per_min)
    return Drip(ml_per_c, ml_per_min, ml_per_min / DROP_ML)


def overrun_ml(fluid: FluidData, from_c: float | None, to_c: float | None) -> float | None:
    """Return how many mL warming pushed out between two temperatures; None where not known."""
    if from_c is None or to_c is None:
        return None
    ml_per_c = by_warming(fluid, (from_c + to_c) / 2.0, None).ml_per_c
    return None if ml_per_c is None else ml_per_c * max(0.0, to_c - from_c)


class Advice(StrEnum):
    """What the open plug asks for; one order at a time."""

    NOT_KNOWN = "not-known"
    BELOW = "below"
    ABOVE = "above"
    LOW = "low"
    TELL = "tell"
    TELL_SOON = "tell-soon"
    LET_RUN = "let-run"
    STREAM_AT_TOP = "stream-at-top"
    WAIT = "wait"
    HIGH_LIMIT = "high-limit"
    LEVEL_SET = "level-set"
    DRIPS_NOW = "drips-now"


def advice(
    flow: MarkName | None,
    place: Place,
    fluid_c: float | None,
    band: Band,
    *,
    streamed: bool = False,
    top_near: bool = False,
) -> Advice:
    """Return what to do about what is seen at the open plug; `flow` is one of FLOWS or None.

    `streamed`: it ran in a stream before; `top_near`: the top of the band is near.
    """
    if fluid_c is None or place is Place.UNSEEN:
        return Advice.NOT_KNOWN
    if place is Place.BELOW:
        return Advice.BELOW
    if place is Place.ABOVE:
        return Advice.LOW if flow is MarkName.NO_DRIP else Advice.ABOVE
    if flow is MarkName.STREAM:
        return Advice.STREAM_AT_TOP if top_near else Advice.LET_RUN
    if flow is MarkName.NO_DRIP:
        at_top = top_near or fluid_c >= band.high_c - _near_c(TOP_C, band)
        return Advice.LOW if at_top else Advice.WAIT
    if flow is MarkName.DRIP:
        return _drip(fluid_c, band, streamed)
    return Advice.TELL_SOON if top_near else Advice.TELL


def _near_c(edge_c: float, band: Band) -> float:
    """Return how near an edge counts as at it: in a narrow band not half of it."""
    return min(edge_c, (band.high_c - band.low_c) / 4.0)


def _drip(fluid_c: float, band: Band, streamed: bool) -> Advice:
    if streamed:  # what was too much has run out
        return Advice.DRIPS_NOW
    at_bottom = fluid_c <= band.low_c + _near_c(BOTTOM_C, band)
    return Advice.HIGH_LIMIT if at_bottom else Advice.LEVEL_SET
