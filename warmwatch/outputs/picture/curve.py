"""The upper part of the plot: temperature, band, windows, marks, gaps and doubtful readings."""

import math
from collections.abc import Iterable, Sequence

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from warmwatch.core.events import EventKind
from warmwatch.core.reading import Mark
from warmwatch.core.units import from_c
from warmwatch.outputs.picture import style
from warmwatch.outputs.picture.text import duration, mark_text
from warmwatch.outputs.picture.trace import Curve, Trace

BUCKETS = 1500
"""More points than this many pairs of lowest and highest show nothing more at this size."""

_CLOSE = 0.03
"""Marks closer than this part of the width share a label."""

_PAPER = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.85}

_ALARMS = {
    EventKind.TOO_HOT: "TOO HOT",
    EventKind.HOLD_LIMIT: "HOLD LIMIT",
    EventKind.NOT_FIT: "NOT FIT",
}

Points = tuple[list[float], list[float]]


def draw_curve(axes: Axes, trace: Trace, unit: str, height_in: float) -> None:
    """Draw everything that has a temperature; the limits in time are already set."""
    labels = _labels(axes, trace)
    longest = max((len(text) for _, text, _ in labels), default=0)
    room = min(0.55, (style.LETTER_IN * longest + 0.15) / height_in) if labels else 0.0
    axes.set_ylim(_limits(trace, unit, room))
    _draw_band(axes, trace, unit)
    _draw_gaps(axes, trace)
    _draw_line(axes, trace.coolant, unit, "coolant", style.COOLANT, 2.0, (0, (4, 2)))
    _draw_line(axes, trace.fluid, unit, "fluid", style.FLUID, style.CURVE_PT, "solid")
    _draw_doubtful(axes, trace.doubtful, unit)
    _draw_labels(axes, labels)
    axes.set_ylabel(f"temperature, °{unit}")
    axes.yaxis.set_label_coords(-0.092, 0.5)
    axes.grid(axis="y", color="#CCCCCC", linewidth=0.8)
    axes.set_axisbelow(True)


def _limits(trace: Trace, unit: str, room: float) -> tuple[float, float]:
    """Return the axis limits: all believed values and the band, and this part of it for marks."""
    band = trace.job.band
    values = [v for v in (*trace.fluid.celsius, *trace.coolant.celsius) if not math.isnan(v)]
    low, high = min([*values, band.low_c]), max([*values, band.high_c])
    margin = max(2.0, 0.06 * (high - low))
    above = (high - low + 2 * margin) * room / (1.0 - room)
    return from_c(low - margin, unit), from_c(high + margin + above, unit)


def _draw_band(axes: Axes, trace: Trace, unit: str) -> None:
    band = trace.job.band
    low, high = from_c(band.low_c, unit), from_c(band.high_c, unit)
    axes.axhspan(low, high, facecolor=style.BAND, edgecolor="none", zorder=0.5, label="band")
    start_s, end_s = axes.get_xlim()
    for number, window in enumerate(trace.windows):
        left_s = trace.end_s if window.left_crossed_s is None else window.left_crossed_s
        width_s = left_s - window.entered_crossed_s
        axes.add_patch(
            Rectangle(
                (window.entered_crossed_s, low),
                width_s,
                high - low,
                facecolor=style.WINDOW,
                edgecolor="none",
                zorder=0.6,
                label="inside" if number == 0 else None,
            )
        )
        if width_s > 0.16 * (end_s - start_s):
            axes.annotate(
                duration(width_s),
                (window.entered_crossed_s + width_s / 2, low),
                xytext=(0, -5),
                textcoords="offset points",
                ha="center",
                va="top",
                weight="bold",
                bbox=_PAPER,
                zorder=3.0,
            )
    for edge in (low, high):
        axes.axhline(edge, color=style.BAND_EDGE, linewidth=1.6, zorder=0.7)


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


def _draw_doubtful(axes: Axes, curve: Curve, unit: str) -> None:
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
            markersize=9.0,
            markeredgewidth=2.4,
            linestyle="none",
            label="not believed",
            zorder=4.0,
        )


def _labels(axes: Axes, trace: Trace) -> list[tuple[float, str, str]]:
    """Return time, text and colour of what is written along upright lines, in order of time."""
    start_s, end_s = axes.get_xlim()
    groups = grouped(trace.marks, _CLOSE * (end_s - start_s))
    marks = [(group[0].elapsed_s, mark_text(group), style.INK) for group in groups]
    alarms = [
        (event.elapsed_s, _ALARMS[event.kind], style.DOUBT)
        for event in trace.events
        if event.kind in _ALARMS
    ]
    return sorted(marks + alarms)


def _draw_labels(axes: Axes, labels: Sequence[tuple[float, str, str]]) -> None:
    start_s, end_s = axes.get_xlim()
    free_from_s = -math.inf
    for at_s, text, color in labels:
        axes.axvline(at_s, color=color, linewidth=1.4, linestyle=(0, (1, 1.5)), zorder=2.0)
        if at_s < free_from_s:  # too close to the one before: the line has to do
            continue
        free_from_s = at_s + _CLOSE * (end_s - start_s)
        late = at_s > start_s + 0.95 * (end_s - start_s)
        axes.annotate(
            text,
            (at_s, axes.get_ylim()[1]),
            xytext=(-2 if late else 2, -4),
            textcoords="offset points",
            rotation=90,
            ha="right" if late else "left",
            va="top",
            color=color,
            fontsize=style.TEXT_PT - 1,
            bbox=_PAPER,
            zorder=5.0,
        )


def grouped(marks: Iterable[Mark], close_s: float) -> list[list[Mark]]:
    """Return the marks in groups that begin at most `close_s` apart."""
    groups: list[list[Mark]] = []
    for mark in sorted(marks, key=lambda mark: mark.elapsed_s):
        if groups and mark.elapsed_s - groups[-1][0].elapsed_s < close_s:
            groups[-1].append(mark)
        else:
            groups.append([mark])
    return groups
