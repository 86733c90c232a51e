"""The rows of a comparison's table: each figure's name, its words and its kind of unit."""

from warmwatch.analysis.methods.figures import Span, rate_name
from warmwatch.words.catalogue import phrase, temperature

TEMPERATURE, RATE, MINUTES, DIFFERENCE = "°{unit}", "°{unit}/min", "min", "degrees"


def kind_text(kind: str, unit: str) -> str:
    """Return the unit that stands behind a figure's words: `°C`, `°C/min`, `min`, `C degrees`."""
    return (
        phrase("table.difference-kind", degree=unit)
        if kind == DIFFERENCE
        else kind.format(unit=unit)
    )


def figure_rows(span: Span, unit: str) -> list[tuple[str, str, str]]:
    """Return (name, words, kind) of every figure in the order of show."""
    start, end, both = "?", "?", "?"
    if span.from_c is not None and span.to_c is not None:
        start, end = temperature(span.from_c, unit), temperature(span.to_c, unit)
        both = phrase("table.span", low=start.split(" ")[0], high=end)
    names = [(rate_name(level), RATE) for level in span.at_c]
    levels = {rate_name(level): temperature(level, unit) for level in span.at_c}
    return [
        (
            name,
            phrase(
                f"table.{'rate-at' if name in levels else name}",
                level=levels.get(name, ""),
                span=both,
                start=start,
            ),
            kind,
        )
        for name, kind in (*_FIRST, *names, *_LATER)
    ]


_FIRST = (("start_c", TEMPERATURE), ("ambient_c", TEMPERATURE))
_LATER = (
    ("rate_span_c_per_min", RATE),
    ("rate_model_c_per_min", RATE),
    ("span_min", MINUTES),
    ("time_to_band_min", MINUTES),
    ("window_min", MINUTES),
    ("window_at_least_min", MINUTES),
    ("overshoot_c", DIFFERENCE),
    ("plug_out_rate_c_per_min", RATE),
    ("plug_out_range_c", DIFFERENCE),
    ("coolant_peak_c", TEMPERATURE),
)
