"""The gauge: a line of temperature from cold to too hot, with the band and the fluid's mark."""

from warmwatch.core.band import Band
from warmwatch.core.units import from_c
from warmwatch.outputs.screen.glyphs import Glyphs

COLD_C = 20.0
MARGIN_C = 15.0


def gauge(
    band: Band, place: float | None, unit: str, width: int, glyphs: Glyphs
) -> tuple[str, str]:
    """Return the labels and the line, each `width` cells wide.

    `place` is the fluid's, 0 at the lower and 1 at the upper edge; without it no mark is drawn.
    """
    start_c, end_c = min(COLD_C, band.low_c - MARGIN_C), band.high_c + MARGIN_C
    scale = (width - 1) / (end_c - start_c)
    low, high = (round((edge - start_c) * scale) for edge in (band.low_c, band.high_c))
    high = max(high, low + 2)
    labels = _labels(width, unit, (start_c, band.low_c, band.high_c, end_c), low, high)
    line = [glyphs.rule] * width
    if place is not None:
        fluid_c = band.low_c + place * (band.high_c - band.low_c)
        at = round((fluid_c - start_c) * scale)
        for cell in range(min(max(at, 0), width)):
            line[cell] = glyphs.trail
    line[low : high + 1] = [glyphs.low_edge, *[glyphs.inside] * (high - low - 1), glyphs.high_edge]
    if place is not None:
        _mark(line, at, place, (low, high), glyphs)
    return labels, "".join(line)


def _mark(line: list[str], at: int, place: float, edges: tuple[int, int], glyphs: Glyphs) -> None:
    """Put the fluid's mark where it is true: never on the wrong side of an edge by rounding."""
    low, high = edges
    if place < 0:
        at = min(at, low - 1)
    elif place > 1:
        at = max(at, high + 1)
    else:
        at = min(max(at, low + 1), high - 1)
    if at < 0:
        line[0] = glyphs.beyond[0]
    elif at >= len(line):
        line[-1] = glyphs.beyond[1]
    else:
        line[at] = glyphs.marker


def _labels(
    width: int, unit: str, temperatures: tuple[float, float, float, float], low: int, high: int
) -> str:
    start, low_text, high_text, end = (f"{round(from_c(t, unit), 1):g}" for t in temperatures)
    cells = [" "] * width
    low_at = max(0, low + 1 - len(low_text))
    _write(cells, low_at, low_text)
    _write(cells, high, high_text)
    if len(start) + 1 < low_at:
        _write(cells, 0, start)
    if high + len(high_text) + 1 < width - len(end):
        _write(cells, width - len(end), end)
    return "".join(cells)


def _write(cells: list[str], at: int, text: str) -> None:
    for offset, char in enumerate(text):
        if at + offset < len(cells):
            cells[at + offset] = char
