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

DOTS_PER_INCH = 150


@dataclass(frozen=True, slots=True)
class Look:
    """Sizes in inches and points; distances in the drawing code are multiples of `em_in`.

    The curve always gets `curve_in` of the height; what stands around it makes the picture taller.
    `headed`: the labels and the band stand above the picture. `columns` is for the key of marks.
    """

    width_in: float
    curve_in: float
    title_pt: float
    text_pt: float
    small_pt: float
    curve_pt: float
    headed: bool
    columns: int

    @property
    def em_in(self) -> float:
        """The height of the text."""
        return self.text_pt / 72.0

    @property
    def scale(self) -> float:
        """How big lines and markers are, beside those for a phone."""
        return self.text_pt / 15.0


PHONE = Look(8.0, 3.9, 20.0, 15.0, 12.0, 3.2, headed=True, columns=2)
PAPER = Look(7.0, 2.0, 10.0, 8.0, 7.2, 1.6, headed=False, columns=3)
"""As wide as the text of a page, so that its letters keep their size there."""


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
