"""The upper part of the plot: temperature, band, windows, gaps and doubtful readings."""

import math
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import MaxNLocator

from warmwatch.core.units import from_c
from warmwatch.outputs.picture import style
from warmwatch.outputs.picture.style import Look
from warmwatch.outputs.picture.trace import Curve, Trace
from warmwatch.words.catalogue import phrase

BUCKETS = 1500
"""More points than this many pairs of lowest and highest show nothing more at this size."""

Points = tuple[list[float], list[float]]


def draw_curve(axes: Axes, trace: Trace, unit: str, look: Look) -> None:
    """Draw everything that has a temperature; the limits in time are already set."""
    axes.set_ylim(_limits(trace, unit))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10], integer=True))
    _draw_band(axes, trace, unit, look)
    _draw_gaps(axes, trace)
    thin_pt = 2.0 * look.scale
    _draw_line(axes, trace.coolant, unit, "coolant", style.COOLANT, thin_pt, (0, (4, 2)))
    _draw_line(axes, trace.fluid, unit, "fluid", style.FLUID, look.curve_pt, "solid")
    _draw_doubtful(axes, trace.doubtful, unit, look)
    axes.set_ylabel(phrase("picture.temperature", degree=f"°{unit}"))
    axes.grid(axis="y", color="#CCCCCC", linewidth=0.8 * look.scale)
    axes.set_axisbelow(True)


def _limits(trace: Trace, unit: str) -> tuple[float, float]:
    """Return the axis limits: all believed values and the band, and a little beyond."""
    band = trace.job.band
    values = [v for v in (*trace.fluid.celsius, *trace.coolant.celsius) if not math.isnan(v)]
    low, high = min([*values, band.low_c]), max([*values, band.high_c])
    margin = max(2.0, 0.05 * (high - low))
    return from_c(low - margin, unit), from_c(high + margin, unit)


def _draw_band(axes: Axes, trace: Trace, unit: str, look: Look) -> None:
    band = trace.job.band
    low, high = from_c(band.low_c, unit), from_c(band.high_c, unit)
    axes.axhspan(low, high, facecolor=style.BAND, edgecolor="none", zorder=0.5, label="band")
    for number, window in enumerate(trace.windows):
        left_s = trace.end_s if window.left_crossed_s is None else window.left_crossed_s
        axes.add_patch(
            Rectangle(
                (window.entered_crossed_s, low),
                left_s - window.entered_crossed_s,
                high - low,
                facecolor=style.WINDOW,
                edgecolor="none",
                zorder=0.6,
                label="inside" if number == 0 else None,
            )
        )
    for edge, side in ((low, "top"), (high, "bottom")):
        axes.axhline(edge, color=style.BAND_EDGE, linewidth=1.6 * look.scale, zorder=0.7)
        axes.annotate(
            f"{round(edge, 1):g}",
            (1.0, edge),
            xycoords=("axes fraction", "data"),
            xytext=(0.35 * look.text_pt, 0),
            textcoords="offset points",
            va=side,
            color=style.BAND_EDGE,
            weight="bold",
            annotation_clip=False,
        )


def _draw_gaps(axes: Axes, trace: Trace) -> None:
    least_s = 0.004 * (axes.get_xlim()[1] - axes.get_xlim()[0])  # or it could not be seen
    for number, gap in enumerate(trace.gaps):
        axes.axvspan(
            gap.start_s,
            max(gap.end_s, gap.start_s + least_s),
            facecolor="none",
            edgecolor=style.GAP,
            hatch="///",
            linewidth=0.0,
            zorder=1.0,
            label="no signal" if number == 0 else None,
        )


def _draw_line(
    axes: Axes,
    curve: Curve,
    unit: str,
    label: str,
    color: str,
    width_pt: float,
    dashes: str | tuple[int, tuple[int, int]],
) -> None:
    times, values = thinned(curve, unit)
    if not times:
        return
    axes.plot(times, values, color=color, linewidth=width_pt, linestyle=dashes, label=label)
    lone = _lone(times, values)
    axes.plot(
        *lone, color=color, marker="o", markersize=1.6 * width_pt, linestyle="none", clip_on=False
    )


def thinned(curve: Curve, unit: str) -> Points:
    """Return the points in `unit`; of very many, the lowest and the highest of each bucket.

    No extreme and no break in the line is lost by it.
    """
    times, values = list(curve.elapsed_s), [from_c(value, unit) for value in curve.celsius]
    if len(times) <= 2 * BUCKETS:
        return times, values
    size = math.ceil(len(times) / BUCKETS)
    kept: list[int] = []
    for start in range(0, len(times), size):
        bucket = range(start, min(start + size, len(times)))
        good = [i for i in bucket if not math.isnan(values[i])]
        breaks = [i for i in bucket if math.isnan(values[i])]
        extremes = (
            [min(good, key=values.__getitem__), max(good, key=values.__getitem__)] if good else []
        )
        kept += sorted({*extremes, *breaks[:1], *breaks[-1:]})
    return [times[i] for i in kept], [values[i] for i in kept]


def _lone(times: Sequence[float], values: Sequence[float]) -> Points:
    """Return the points that have no neighbour to draw a line to."""
    broken = [True, *(math.isnan(value) for value in values), True]
    lone = [
        i for i in range(len(values)) if broken[i] and broken[i + 2] and not math.isnan(values[i])
    ]
    return [times[i] for i in lone], [values[i] for i in lone]


def _draw_doubtful(axes: Axes, curve: Curve, unit: str, look: Look) -> None:
    """Draw readings that were not believed; those off the scale stand at its edge."""
    low, high = axes.get_ylim()
    inset = 0.025 * (high - low)
    spots: dict[tuple[int, int], tuple[float, float]] = {}
    start_s, end_s = axes.get_xlim()
    for elapsed_s, celsius in zip(curve.elapsed_s, curve.celsius, strict=True):
        value = low if math.isnan(celsius) else from_c(celsius, unit)
        value = min(max(value, low + inset), high - inset)
        cell = (int(400 * (elapsed_s - start_s) / (end_s - start_s)), int(200 * value / high))
        spots.setdefault(cell, (elapsed_s, value))
    if spots:
        axes.plot(
            *zip(*spots.values(), strict=True),
            color=style.DOUBT,
            marker="x",
            markersize=9.0 * look.scale,
            markeredgewidth=2.4 * look.scale,
            linestyle="none",
            label="not believed",
            zorder=4.0,
        )
