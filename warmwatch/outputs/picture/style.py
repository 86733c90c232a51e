"""The looks of the plot: told apart by lightness and pattern, so also without any colour.

The colours are from the set of Okabe and Ito for colour-blind readers (from memory).
"""

from dataclasses import dataclass

from warmwatch.core.phase import Phase

INK = "#111111"
SOFT_INK = "#555555"
FLUID = "#003B5C"
COOLANT = "#777777"
BAND = "#DCEFFA"
BAND_EDGE = "#0072B2"
WINDOW = "#79C7A8"
DOUBT = "#D55E00"
GAP = "#8A8A8A"

SIZE_IN = (8.0, 8.4)
DOTS_PER_INCH = 150
LETTER_IN = 0.115
"""About the length of a letter of TEXT_PT."""
TITLE_PT, TEXT_PT, SMALL_PT = 20.0, 15.0, 12.0
CURVE_PT = 3.2


@dataclass(frozen=True, slots=True)
class PhaseLook:
    """How a phase is filled."""

    fill: str
    hatch: str


PHASES: dict[Phase, PhaseLook] = {
    Phase.OFF: PhaseLook("#FFFFFF", ""),
    Phase.IDLE: PhaseLook("#EBEBEB", ""),
    Phase.LOADED: PhaseLook("#8F4700", "xxx"),
    Phase.DRIVING: PhaseLook("#6FB7E0", "//"),
    Phase.UNKNOWN: PhaseLook("#FFFFFF", ".."),
}
