"""The band as a person writes it."""

from warmwatch.core.band import Band
from warmwatch.core.job import ABSURD_BAND_C
from warmwatch.core.units import parse_temperature
from warmwatch.errors import UsageError

COLD_BAND_C = 35.0
"""A band in degF that ends below this was meant in degC (common practice, no source)."""


def parse_band(text: str, unit: str = "C", option: str = "--band") -> Band:
    """Return the band of `80:90`, `185F:203F` or `29,5:50`; UsageError when it is none."""
    low, colon, high = text.partition(":")
    try:
        if not colon:
            raise ValueError("two temperatures with a colon between them are needed")
        # A unit behind the second temperature alone is meant for both.
        stated = high.strip()[-1:].upper()
        unit = stated if stated in ("C", "F") else unit
        edges = parse_temperature(low, unit), parse_temperature(high, unit)
        band = Band(*edges)
    except ValueError as error:
        raise UsageError(f"{option} {text}: {error}; write it like 80:90 or 176F:194F.") from None
    if band.high_c > ABSURD_BAND_C:
        raise UsageError(
            f"{option} {text} is up to {band.high_c:g} °C, hotter than any check temperature: if "
            f"°F were meant, write {low.strip()}F:{high.strip()}F or add --unit F."
        )
    if unit == "F" and band.high_c < COLD_BAND_C:
        raise UsageError(
            f"{option} {text} in °F is only up to {band.high_c:.0f} °C, colder than any check "
            f"temperature: if °C were meant, write {low.strip()}C:{high.strip()}C."
        )
    return band
