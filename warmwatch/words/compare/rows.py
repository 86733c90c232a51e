"""The rows of a comparison's table: each figure's name, its words and its kind of unit."""

from warmwatch.analysis.methods.figures import Span, rate_name
from warmwatch.words.events import temperature

TEMPERATURE, RATE, MINUTES, DIFFERENCE = "°{unit}", "°{unit}/min", "min", "{unit} degrees"


def figure_rows(span: Span, unit: str) -> list[tuple[str, str, str]]:
    """Return (name, words, kind) of every figure in the order of show."""
    start, end, both = "?", "?", "?"
    if span.from_c is not None and span.to_c is not None:
        start, end = temperature(span.from_c, unit), temperature(span.to_c, unit)
        both = f"{start.split(' ')[0]} to {end}"
    rates = [
        (rate_name(level), f"heating at {temperature(level, unit)}", RATE) for level in span.at_c
    ]
    return [
        ("start_c", "start", TEMPERATURE),
        ("ambient_c", "ambient", TEMPERATURE),
        *rates,
        ("rate_span_c_per_min", f"heating, {both}", RATE),
        ("rate_model_c_per_min", "heating, by the model", RATE),
        ("span_min", f"from {both}", MINUTES),
        ("time_to_band_min", f"from {start} to the band", MINUTES),
        ("window_min", "stay in the band", MINUTES),
        ("window_at_least_min", "stay, at least", MINUTES),
        ("overshoot_c", "beyond the top", DIFFERENCE),
        ("plug_out_rate_c_per_min", "drift, plug out", RATE),
        ("plug_out_range_c", "spread, plug out", DIFFERENCE),
        ("coolant_peak_c", "coolant at most", TEMPERATURE),
    ]
