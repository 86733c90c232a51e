"""The picture of a recording, drawn without a display and without any global state."""

import io
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from warmwatch._version import __version__
from warmwatch.core.phase import Phase
from warmwatch.outputs.picture import style
from warmwatch.outputs.picture.curve import draw_curve
from warmwatch.outputs.picture.forecasts import draw_forecasts, horizon_s, pick_forecasts
from warmwatch.outputs.picture.text import FONT, drawable, time_ticks, windows_text
from warmwatch.outputs.picture.trace import Trace
from warmwatch.words.events import band_text

LEAST_S = 10.0
"""The time axis is never shorter."""

_LEGEND = ("fluid", "coolant", "band", "inside", "no signal", "not believed")

_SETTINGS: dict[Any, Any] = {
    "font.family": FONT,
    "font.size": style.TEXT_PT,
    "axes.labelsize": style.TEXT_PT,
    "axes.edgecolor": style.INK,
    "axes.linewidth": 1.2,
    "hatch.linewidth": 0.8,
    "hatch.color": style.GAP,
    "svg.fonttype": "none",
    "svg.hashsalt": "warmwatch",
    "text.usetex": False,
    "text.parse_math": False,
    "path.simplify": True,
}


def picture(
    trace: Trace, *, unit: str | None = None, image_format: str = "png", notes: Sequence[str] = ()
) -> bytes:
    """Return the picture of a trace as the bytes of a PNG or SVG file.

    `unit` is "C" or "F", the job's by default; `notes` are short sentences for the foot. The same
    trace gives the same bytes.
    """
    with mpl.rc_context(_SETTINGS):
        figure = draw(trace, unit or trace.job.unit, notes)
        out = io.BytesIO()
        maker = f"warmwatch {__version__}"
        metadata: dict[str, str | None] = (
            {"Software": maker} if image_format == "png" else {"Date": None, "Creator": maker}
        )
        figure.savefig(out, format=image_format, dpi=style.DOTS_PER_INCH, metadata=metadata)
    return out.getvalue()


def draw(trace: Trace, unit: str, notes: Sequence[str]) -> Figure:
    """Return the figure: temperature above, forecasts below it, phases along the foot."""
    figure = Figure(figsize=style.SIZE_IN)
    forecasts = pick_forecasts(trace)
    lines = [*([_date(trace.utc_s)] if trace.utc_s is not None else []), *notes]
    curve, middle, foot = _panels(figure, len(forecasts), len(lines))
    for panel in (curve, middle, foot):
        panel.set_xlim(trace.start_s, max(horizon_s(trace), trace.start_s + LEAST_S))
        panel.tick_params(axis="x", length=0, labelbottom=panel is foot)
        panel.set_xticks([])
    draw_curve(curve, trace, unit, curve.get_position().height * style.SIZE_IN[1])
    draw_forecasts(middle, trace, forecasts)
    middle.set_visible(bool(forecasts))
    _draw_phases(foot, trace)
    if not any(value == value for value in trace.fluid.celsius):
        _say_empty(curve)
    _write_head(figure, curve, trace, unit)
    _write_foot(figure, lines)
    return figure


def _panels(figure: Figure, rows: int, lines: int) -> tuple[Axes, Axes, Axes]:
    """Return the three panels. Their places are reckoned in inches, so that nothing can shift."""
    width_in, height_in = style.SIZE_IN
    foot_in = 0.68 + 0.21 * lines
    middle_in = foot_in + 0.30 + 0.32
    rows_in = 0.27 * rows
    curve_in = middle_in + rows_in + (0.32 if rows else 0.0)
    left, width = 1.1 / width_in, (width_in - 1.1 - 0.3) / width_in

    def panel(bottom_in: float, tall_in: float) -> Axes:
        return figure.add_axes((left, bottom_in / height_in, width, tall_in / height_in))

    return (
        panel(curve_in, height_in - 1.1 - curve_in),
        panel(middle_in, max(rows_in, 0.1)),
        panel(foot_in, 0.30),
    )


def _say_empty(axes: Axes) -> None:
    axes.text(
        0.5,
        0.5,
        "No fluid temperature\nin this recording",
        transform=axes.transAxes,
        ha="center",
        va="center",
        fontsize=style.TITLE_PT,
    )


def _draw_phases(axes: Axes, trace: Trace) -> None:
    start_s, end_s = axes.get_xlim()
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([])
    time_ticks(axes, start_s, end_s)
    unnamed: list[Phase] = []
    for phase, look in style.PHASES.items():
        stays = [stay for stay in trace.stays if stay.phase is phase]
        if not stays:
            continue
        spans = [(stay.start_s, stay.end_s - stay.start_s) for stay in stays]
        axes.broken_barh(
            spans, (0.0, 1.0), facecolor=look.fill, hatch=look.hatch, edgecolor=style.SOFT_INK
        )
        longest = max(stays, key=lambda stay: stay.end_s - stay.start_s)
        if longest.end_s - longest.start_s < 0.14 * (end_s - start_s):
            unnamed.append(phase)
            continue
        axes.text(
            (longest.start_s + longest.end_s) / 2,
            0.46,
            phase.value,
            ha="center",
            va="center",
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
        )
    if unnamed:
        patches = [_patch(phase) for phase in unnamed]
        axes.legend(
            handles=patches,
            loc="lower right",
            bbox_to_anchor=(1.0, 1.0),
            ncols=len(patches),
            frameon=False,
            fontsize=style.SMALL_PT,
            borderaxespad=0.1,
        )


def _patch(phase: Phase) -> Patch:
    look = style.PHASES[phase]
    return Patch(facecolor=look.fill, hatch=look.hatch, edgecolor=style.SOFT_INK, label=phase.value)


def _write_head(figure: Figure, curve: Axes, trace: Trace, unit: str) -> None:
    labels = [text for text in (trace.job.vehicle, trace.job.method) if text]
    heading = drawable(" · ".join(labels), 40) if labels else "Fluid temperature"
    width_in, height_in = style.SIZE_IN
    left, line = 0.15 / width_in, 1.0 / height_in
    figure.text(left, 1 - 0.36 * line, heading, fontsize=style.TITLE_PT, weight="bold")
    band = f"Band {band_text(trace.job.band, unit)}."
    inside = f"{windows_text(trace.windows, trace.end_s)}."
    figure.text(left, 1 - 0.70 * line, f"{band} {inside}", fontsize=style.TEXT_PT)
    found = dict(zip(*reversed(curve.get_legend_handles_labels()), strict=True))
    names = [name for name in _LEGEND if name in found]
    figure.legend(
        [found[name] for name in names],
        names,
        loc="upper left",
        bbox_to_anchor=(0.05 / width_in, 1 - 0.74 * line),
        ncols=len(names),
        fontsize=style.SMALL_PT + 1,
        frameon=False,
        handlelength=1.6,
        columnspacing=1.1,
        borderaxespad=0.0,
    )


def _write_foot(figure: Figure, lines: Sequence[str]) -> None:
    width_in, height_in = style.SIZE_IN
    for number, line in enumerate(reversed(lines)):
        figure.text(
            0.15 / width_in,
            (0.08 + 0.21 * number) / height_in,
            drawable(line, 95),
            fontsize=style.SMALL_PT,
            color=style.SOFT_INK,
        )


def _date(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, tz=UTC).strftime("%Y-%m-%d %H:%M UTC")
