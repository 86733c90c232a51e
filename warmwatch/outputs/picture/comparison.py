"""The picture of a comparison: curves from the common start, and rate against temperature.

Methods are told apart by line pattern and marker as well as by colour. Drawn without a display and
without any global state; the same comparison gives the same bytes.
"""

import io
import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from warmwatch._version import __version__
from warmwatch.analysis.methods.comparison import Comparison
from warmwatch.analysis.methods.figures import RATE_HALF_C, Run, Span, label, rate_at
from warmwatch.analysis.methods.interval import quantile
from warmwatch.core.band import Band
from warmwatch.core.units import from_c
from warmwatch.outputs.picture.style import BAND, BAND_EDGE, INK, SOFT_INK
from warmwatch.outputs.picture.text import FONT, drawable
from warmwatch.words.events import band_text, temperature

SIZE_IN = (12.0, 7.2)
DOTS_PER_INCH = 120
TITLE_PT, TEXT_PT, SMALL_PT = 17.0, 13.0, 11.0
FOOT_LETTERS = 150
THIN_MOST = 40
"""Of more runs than this only the median and the spread are drawn."""

_SETTINGS: dict[Any, Any] = {
    "font.family": FONT,
    "font.size": TEXT_PT,
    "axes.edgecolor": INK,
    "axes.linewidth": 1.0,
    "svg.fonttype": "none",
    "svg.hashsalt": "warmwatch",
    "text.usetex": False,
    "text.parse_math": False,
}


@dataclass(frozen=True, slots=True)
class _Look:
    """How one method is drawn."""

    colour: str
    line: Any
    marker: str


# The colours are from the set of Okabe and Ito for colour-blind readers (from memory).
_LOOKS = (
    _Look("#0072B2", "-", "o"),
    _Look("#D55E00", (0, (6, 2)), "s"),
    _Look("#009E73", (0, (2, 1.5)), "^"),
    _Look("#111111", (0, (8, 2, 2, 2)), "D"),
    _Look("#CC79A7", (0, (4, 1, 1, 1, 1, 1)), "v"),
    _Look("#8A6D00", (0, (1, 2)), "P"),
    _Look("#56B4E9", (0, (10, 3)), "X"),
)


def picture(
    comparison: Comparison, runs: Sequence[Run], unit: str, kind: str, foot: Sequence[str] = ()
) -> bytes:
    """Return the picture as the bytes of a PNG or SVG file (`kind` is "png" or "svg").

    `unit` is "C" or "F"; `foot` holds sentences for the foot. Runs are drawn by their method.
    """
    with mpl.rc_context(_SETTINGS):
        figure = draw(comparison.span, runs, unit, foot)
        out = io.BytesIO()
        maker = f"warmwatch {__version__}"
        metadata: dict[str, str | None] = (
            {"Software": maker} if kind == "png" else {"Date": None, "Creator": maker}
        )
        figure.savefig(out, format=kind, dpi=DOTS_PER_INCH, metadata=metadata)
    return out.getvalue()


def draw(span: Span, runs: Sequence[Run], unit: str, foot: Sequence[str]) -> Figure:
    """Return the figure with both panels."""
    figure = Figure(figsize=SIZE_IN, layout="constrained")
    curves, rates = figure.subplots(1, 2, width_ratios=(1.5, 1.0))
    counts = Counter(label(run) for run in runs)
    names = sorted(sorted(counts, key=lambda name: (-counts[name], name))[: len(_LOOKS)])
    groups = {name: [run for run in runs if label(run) == name] for name in names}
    looks = dict(zip(names, _LOOKS, strict=False))
    _draw_curves(curves, span, groups, looks, unit)
    _draw_rates(rates, span, groups, looks, unit)
    figure.suptitle("Ways of warming up, as recorded", fontsize=TITLE_PT, x=0.01, ha="left")
    lines = ["Thick: median of the runs; shaded: the middle half; thin: each run.", *foot]
    if len(counts) > len(names):
        more = len(counts) - len(names)
        lines.insert(1, f"The {len(names)} methods with the most runs; {more} more in the table.")
    text = "\n".join(drawable(line, FOOT_LETTERS) for line in lines)
    figure.supxlabel(text, fontsize=SMALL_PT, x=0.01, ha="left", color=SOFT_INK)
    return figure


def _draw_curves(
    axes: Axes, span: Span, groups: dict[str, list[Run]], looks: dict[str, _Look], unit: str
) -> None:
    _shade(axes, span.band, unit)
    start_c = span.from_c
    for name, runs in groups.items():
        covering = [] if start_c is None else [r for r in runs if _begin_s(r, start_c) is not None]
        look = looks[name]
        for run in covering if len(covering) <= THIN_MOST else ():
            _thin(axes, run, start_c or 0, look, unit)
        levels = list(_progress(covering, start_c or 0))
        title = f"{drawable(name, 24)}, {len(covering)} of {len(runs)} runs"
        _thick(axes, levels, look, title, unit)
    start = "the start" if start_c is None else temperature(start_c, unit)
    axes.set_xlabel(f"minutes since {start}")
    axes.set_ylabel(f"fluid, °{unit}")
    axes.set_xlim(left=0.0)
    axes.legend(loc="lower right", fontsize=SMALL_PT, framealpha=0.9, handlelength=3.5)
    _tidy(axes)


def _shade(axes: Axes, band: Band, unit: str) -> None:
    low, high = from_c(band.low_c, unit), from_c(band.high_c, unit)
    axes.axhspan(low, high, color=BAND, zorder=0)
    for edge in (low, high):
        axes.axhline(edge, color=BAND_EDGE, linewidth=1.0, zorder=1)
    axes.annotate(
        f"band {band_text(band, unit)}",
        (0.01, high),
        xycoords=("axes fraction", "data"),
        xytext=(0, -4),
        textcoords="offset points",
        va="top",
        fontsize=SMALL_PT,
        color=BAND_EDGE,
    )


def _begin_s(run: Run, start_c: int) -> float | None:
    return run.features.reached_s(float(start_c))


def _thin(axes: Axes, run: Run, start_c: int, look: _Look, unit: str) -> None:
    begin_s = _begin_s(run, start_c)
    assert begin_s is not None
    points = [((at_s - begin_s) / 60.0, fluid_c) for at_s, fluid_c in run.features.curve]
    shown = [(minutes, from_c(fluid_c, unit)) for minutes, fluid_c in points if minutes >= 0.0]
    axes.plot(*_unzipped(shown), color=look.colour, linewidth=0.7, alpha=0.45, zorder=2)


def _progress(runs: Sequence[Run], start_c: int) -> Iterator[tuple[float, list[float]]]:
    """Yield (level in degC, sorted minutes from the start) while the median is known.

    A run that did not get so far counts as later than all others: left out, it would make the
    method look faster where only its fastest runs arrive.
    """
    top_c = max((r.features.climb_from_c + len(r.features.climb_s) for r in runs), default=0)
    for level in range(start_c, top_c):
        minutes = sorted(_minutes_to(run, start_c, level) for run in runs)
        if math.isnan(_known(minutes, 0.5)):
            return
        yield float(level), minutes


def _minutes_to(run: Run, start_c: int, level: int) -> float:
    begin_s, at_s = _begin_s(run, start_c), run.features.reached_s(float(level))
    return math.inf if begin_s is None or at_s is None else (at_s - begin_s) / 60.0


def _known(ordered: Sequence[float], share: float) -> float:
    """Return a quantile of sorted values of which some may be infinite; NaN where it is not known.

    >>> _known([1.0, 2.0, math.inf], 0.5)
    2.0
    """
    position = share * (len(ordered) - 1)
    below, above = ordered[math.floor(position)], ordered[math.ceil(position)]
    if math.isinf(above):
        return math.nan
    return below + (position - math.floor(position)) * (above - below)


def _thick(
    axes: Axes, levels: Sequence[tuple[float, list[float]]], look: _Look, title: str, unit: str
) -> None:
    shown = [from_c(level, unit) for level, _ in levels]
    middle = [_known(minutes, 0.5) for _, minutes in levels]
    axes.plot(
        middle,
        shown,
        color=look.colour,
        linestyle=look.line,
        linewidth=2.6,
        marker=look.marker,
        markevery=5,
        markersize=6,
        label=title,
        zorder=4,
    )
    low, high = ([_known(minutes, share) for _, minutes in levels] for share in (0.25, 0.75))
    axes.fill_betweenx(shown, low, high, color=look.colour, alpha=0.18, linewidth=0, zorder=3)


def _draw_rates(
    axes: Axes, span: Span, groups: dict[str, list[Run]], looks: dict[str, _Look], unit: str
) -> None:
    axes.axvspan(
        from_c(span.band.low_c, unit), from_c(span.band.high_c, unit), color=BAND, zorder=0
    )
    scale = 1.8 if unit == "F" else 1.0
    for name, runs in groups.items():
        levels = list(_rates(runs))
        shown = [from_c(level, unit) for level, _ in levels]
        quarters = [[quantile(v, q) * scale for _, v in levels] for q in (0.25, 0.5, 0.75)]
        look = looks[name]
        axes.plot(
            shown,
            quarters[1],
            color=look.colour,
            linestyle=look.line,
            marker=look.marker,
            markevery=4,
            linewidth=2.2,
            markersize=6,
            zorder=4,
        )
        axes.fill_between(shown, quarters[0], quarters[2], color=look.colour, alpha=0.18, lw=0)
    axes.set_xlabel(f"fluid, °{unit}")
    axes.set_ylabel(f"heating rate, °{unit}/min")
    axes.set_ylim(bottom=0.0)
    _tidy(axes)


def _rates(runs: Sequence[Run]) -> Iterator[tuple[float, list[float]]]:
    """Yield (level in degC, sorted rates in degC/min) where three quarters of the runs have one."""
    low_c = min((run.features.climb_from_c for run in runs), default=0)
    top_c = max((run.features.climb_from_c + len(run.features.climb_s) for run in runs), default=0)
    for level in range(low_c + RATE_HALF_C, top_c - RATE_HALF_C + 1):
        rates = [
            rate for run in runs if (rate := rate_at(run.features, level, None)[0]) is not None
        ]
        if rates and 4 * len(rates) >= 3 * len(runs):
            yield float(level), sorted(rates)


def _unzipped(points: Sequence[tuple[float, float]]) -> tuple[list[float], list[float]]:
    return [x for x, _ in points], [y for _, y in points]


def _tidy(axes: Axes) -> None:
    axes.grid(visible=True, color="#DDDDDD", linewidth=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
