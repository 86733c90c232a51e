"""The band as a person writes it."""

from warmwatch.core.band import Band
from warmwatch.core.job import ABSURD_BAND_C
from warmwatch.core.units import parse_temperature
from warmwatch.errors import UsageError

COLD_BAND_C = 35.0
"""A band in degF that ends below this was meant in degC (common practice, no source)."""
WIDEST_C, ROOM_C = 45.0, 15.0
"""A check temperature range is some 5 to 20 degC wide, and is reached by warming up (ours)."""


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
    _ask_when_odd(band, text, low.strip(), high.strip(), unit, option)
    return band


def _ask_when_odd(band: Band, text: str, low: str, high: str, unit: str, option: str) -> None:
    """Refuse what looks like a slip (8:90), unless both temperatures carry their letter."""
    insisted = all(edge[-1:].upper() in ("C", "F") for edge in (low, high))
    wide, cold = band.high_c - band.low_c > WIDEST_C, band.low_c < ROOM_C
    if insisted or not (wide or cold):
        return
    width = round((band.high_c - band.low_c) * (1.8 if unit == "F" else 1.0), 1)
    odd = [f"it is {width:g} °{unit} wide"] * wide + ["it begins below room temperature"] * cold
    high = high.rstrip("CFcf°")
    raise UsageError(
        f"{option} {text}: is that meant? For a check temperature {' and '.join(odd)}. Write it "
        f"like 80:90; if it is meant so, write {low}{unit}:{high}{unit}."
    )
