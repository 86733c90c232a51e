"""Volume and temperature of the fluid, and what an error of temperature or tilt costs.

Volume correction of API MPMS chapter 11.1 / ASTM D1250 for lubricating oils, base 15 degC:
VCF = exp(-a dT (1 + 0.8 a dT)), a = K0/rho^2 + K1/rho with K0 = 0 and K1 = 0.6278 per degC. The
public constants and ten published results of the formula stand in shared/vcf_published.csv; no
printed row of the lubricating-oil table itself was to be had.
"""

import math
from dataclasses import dataclass

K1 = 0.6278
BASE_C = 15.0
DROP_ML = 0.05
"""A drop of oil, common practice (20 drops a millilitre), no source."""

DENSITY_KG_M3 = 860.0
"""Where nobody says better: transmission fluids lie at 840 to 870 kg/m3 at 15 degC (memory)."""
MIN_DENSITY, MAX_DENSITY = 800.9, 1163.5
MIN_C, MAX_C = -50.0, 150.0
"""Limits of the standard: densities as published, temperatures from memory."""


def check_density(density_kg_m3: float) -> float:
    """Return the density in kg/m3 at 15 degC; ValueError outside the standard's range."""
    if not MIN_DENSITY <= density_kg_m3 <= MAX_DENSITY:
        raise ValueError(
            f"a density of {density_kg_m3:g} kg/m³ is outside {MIN_DENSITY:g} to {MAX_DENSITY:g}, "
            "where the formula for lubricating oils holds"
        )
    return density_kg_m3


def alpha15(density_kg_m3: float) -> float:
    """Return the expansion coefficient at 15 degC, per degC."""
    return K1 / check_density(density_kg_m3)


def correction(alpha: float, delta_t: float) -> float:
    """Return the volume correction factor of the formula, for any coefficient and base.

    >>> round(correction(650e-6, -30), 4)  # a published row of table 24C
    1.0194
    """
    return math.exp(-alpha * delta_t * (1.0 + 0.8 * alpha * delta_t))


def vcf(density_kg_m3: float, temp_c: float) -> float:
    """Return the factor that brings a volume at `temp_c` to 15 degC.

    >>> round(vcf(860, 90), 5)
    0.94445
    """
    if not MIN_C <= temp_c <= MAX_C:
        raise ValueError(f"{temp_c:g} °C is outside {MIN_C:g} to {MAX_C:g} °C")
    return correction(alpha15(density_kg_m3), temp_c - BASE_C)


def volume_at(volume_l: float, from_c: float, to_c: float, density_kg_m3: float) -> float:
    """Return the volume at `to_c` of fluid that takes up `volume_l` at `from_c`.

    >>> round(volume_at(4.25, 85, 20, 860), 2)
    4.04
    """
    return volume_l * vcf(density_kg_m3, from_c) / vcf(density_kg_m3, to_c)


def local_coefficient(density_kg_m3: float, temp_c: float) -> float:
    """Return the relative rise of volume per degC at `temp_c` (derivative of ln(1/VCF))."""
    alpha = alpha15(density_kg_m3)
    return alpha * (1.0 + 1.6 * alpha * (temp_c - BASE_C))


def expansion_ml_per_c(volume_l: float, temp_c: float, density_kg_m3: float) -> float:
    """Return by how many mL fluid that takes up `volume_l` at `temp_c` grows per degC.

    >>> round(expansion_ml_per_c(8, 90, 860), 1)
    6.4
    """
    return 1000.0 * volume_l * local_coefficient(density_kg_m3, temp_c)


@dataclass(frozen=True, slots=True)
class Pan:
    """The surface of the fluid in the pan, in mm: length and width, and how far along the tilted
    side the check plug lies from the middle; half that side where it is not known (the worst).
    """

    length_mm: float
    width_mm: float
    plug_mm: float | None = None

    def __post_init__(self) -> None:
        for name in ("length_mm", "width_mm"):
            if not 10.0 <= getattr(self, name) <= 3000.0:
                raise ValueError(f"{name}: {getattr(self, name):g} mm is no size of a pan")
        if self.plug_mm is not None and not 0.0 <= self.plug_mm <= 3000.0:
            raise ValueError(f"plug_mm: {self.plug_mm:g} mm is no distance in a pan")


def off_temperature_ml(
    capacity_l: float, nominal_c: float, checked_c: float, density_kg_m3: float
) -> float:
    """Return how many mL too much (+) or too little (-) are in, as of `nominal_c`.

    The level was set at `checked_c` instead. `capacity_l` is all the fluid, at `nominal_c`. Fluid
    checked too warm stands higher than it will, so too little stays in.
    """
    return 1000.0 * (volume_at(capacity_l, checked_c, nominal_c, density_kg_m3) - capacity_l)


def off_tilt_ml(pan: Pan, tilt_deg: float, axis: str = "lengthwise") -> float:
    """Return how many mL too much or too little a tilt leaves, without its sign.

    A still surface stays level, so the plug lies higher or lower than it should by its distance
    from the middle times tan(tilt); times the surface, that is the volume. `axis` says along
    which side of the pan the vehicle leans: "lengthwise" or "crosswise".
    """
    if not abs(tilt_deg) <= 30.0:
        raise ValueError(f"a tilt of {tilt_deg:g}° is no small error")
    side_mm = pan.width_mm if axis == "crosswise" else pan.length_mm
    lever_mm = side_mm / 2.0 if pan.plug_mm is None else pan.plug_mm
    rise_mm = lever_mm * math.tan(math.radians(abs(tilt_deg)))
    return pan.length_mm * pan.width_mm * rise_mm / 1000.0
