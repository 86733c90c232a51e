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
from warmwatch.outputs.picture.style import PHONE, Look
from warmwatch.outputs.picture.tags import draw_tags, key_rows, make_tags, write_key
from warmwatch.outputs.picture.text import FONT, drawable, time_ticks, windows_text
from warmwatch.outputs.picture.trace import Trace
from warmwatch.words.catalogue import phrase
from warmwatch.words.events import band_text

LEAST_S = 10.0
"""The time axis is never shorter."""

_LEGEND = ("fluid", "coolant", "band", "inside", "no signal", "not believed")

_SETTINGS: dict[Any, Any] = {
    "font.family": FONT,
    "axes.edgecolor": style.INK,
    "hatch.color": style.GAP,
    "svg.fonttype": "none",
    "svg.hashsalt": "warmwatch",
    "text.usetex": False,
    "text.parse_math": False,
    "path.simplify": True,
}


def picture(
    trace: Trace,
    *,
    unit: str | None = None,
    image_format: str = "png",
    notes: Sequence[str] = (),
    look: Look = PHONE,
) -> bytes:
    """Return the picture of a trace as the bytes of a PNG or SVG file.

    `unit` is "C" or "F", the job's by default; `notes` are short sentences for the foot. The same
    trace gives the same bytes.
    """
    with mpl.rc_context(_settings(look)):
        figure = draw(trace, unit or trace.job.unit, notes, look)
        out = io.BytesIO()
        maker = f"warmwatch {__version__}"
        metadata: dict[str, str | None] = (
            {"Software": maker} if image_format == "png" else {"Date": None, "Creator": maker}
        )
        figure.savefig(out, format=image_format, dpi=style.DOTS_PER_INCH, metadata=metadata)
    return out.getvalue()


def _settings(look: Look) -> dict[Any, Any]:
    return _SETTINGS | {
        "font.size": look.text_pt,
        "axes.labelsize": look.text_pt,
        "axes.linewidth": 1.2 * look.scale,
        "hatch.linewidth": 0.8 * look.scale,
    }


def draw(trace: Trace, unit: str, notes: Sequence[str], look: Look = PHONE) -> Figure:
    """Return the figure: temperature above, forecasts below it, phases along the foot."""
    figure = Figure()
    forecasts = pick_forecasts(trace)
    lines = [*notes]
    if look.headed and trace.utc_s is not None:
        lines.insert(0, _date(trace.utc_s))
    start_s, end_s = trace.start_s, max(horizon_s(trace), trace.start_s + LEAST_S)
    tags = make_tags(trace, end_s - start_s)
    foot_in = (0.4 + len(lines) + key_rows(tags, look)) * look.em_in
    curve, middle, foot = _panels(figure, look, len(forecasts), foot_in, tagged=bool(tags))
    for panel in (curve, middle, foot):
        panel.set_xlim(start_s, end_s)
        panel.tick_params(axis="x", length=0, labelbottom=panel is foot)
        panel.set_xticks([])
    draw_curve(curve, trace, unit, look)
    draw_tags(curve, tags, look)
    draw_forecasts(middle, trace, forecasts, look)
    middle.set_visible(bool(forecasts))
    _draw_phases(foot, trace, look)
    if not any(value == value for value in trace.fluid.celsius):
        _say_empty(curve, look)
    _write_head(figure, curve, trace, unit, look)
    write_key(figure, tags, look, foot_in)
    _write_foot(figure, lines, look)
    return figure


def _panels(
    figure: Figure, look: Look, rows: int, below_in: float, *, tagged: bool
) -> tuple[Axes, Axes, Axes]:
    """Return the three panels. Their places are reckoned in inches, so that nothing can shift."""
    em_in, left_in, right_in = look.em_in, 5.3 * look.em_in, 2.8 * look.em_in
    foot_in = below_in + 3.0 * em_in
    middle_in = foot_in + (1.4 + 1.6) * em_in
    rows_in = 1.3 * em_in * rows
    curve_in = middle_in + rows_in + (1.5 * em_in if rows else 0.0)
    head_in = ((5.3 if look.headed else 1.5) + (1.5 if tagged else 0.0)) * em_in
    height_in, width_in = curve_in + look.curve_in + head_in, look.width_in
    figure.set_size_inches(width_in, height_in)

    def panel(bottom_in: float, tall_in: float) -> Axes:
        wide_in = width_in - left_in - right_in
        return figure.add_axes(
            (left_in / width_in, bottom_in / height_in, wide_in / width_in, tall_in / height_in)
        )

    return (
        panel(curve_in, look.curve_in),
        panel(middle_in, max(rows_in, 0.1)),
        panel(foot_in, 1.4 * em_in),
    )


def _say_empty(axes: Axes, look: Look) -> None:
    axes.text(
        0.5,
        0.5,
        phrase("picture.no-fluid"),
        transform=axes.transAxes,
        ha="center",
        va="center",
        fontsize=look.title_pt,
    )


def _draw_phases(axes: Axes, trace: Trace, look: Look) -> None:
    start_s, end_s = axes.get_xlim()
    axes.set_ylim(0.0, 1.0)
    axes.set_yticks([])
    time_ticks(axes, start_s, end_s)
    unnamed: list[Phase] = []
    for phase, fill in style.PHASES.items():
        stays = [stay for stay in trace.stays if stay.phase is phase]
        if not stays:
            continue
        spans = [(stay.start_s, stay.end_s - stay.start_s) for stay in stays]
        axes.broken_barh(
            spans, (0.0, 1.0), facecolor=fill.fill, hatch=fill.hatch, edgecolor=style.SOFT_INK
        )
        longest = max(stays, key=lambda stay: stay.end_s - stay.start_s)
        if longest.end_s - longest.start_s < 0.14 * (end_s - start_s):
            unnamed.append(phase)
            continue
        axes.text(
            (longest.start_s + longest.end_s) / 2,
            0.46,
            phrase(f"picture.phase-{phase}"),
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
            fontsize=look.small_pt,
            borderaxespad=0.1,
        )


def _patch(phase: Phase) -> Patch:
    look = style.PHASES[phase]
    label = phrase(f"picture.phase-{phase}")
    return Patch(facecolor=look.fill, hatch=look.hatch, edgecolor=style.SOFT_INK, label=label)


def _write_head(figure: Figure, curve: Axes, trace: Trace, unit: str, look: Look) -> None:
    labels = [text for text in (trace.job.vehicle, trace.job.method) if text]
    heading = drawable(" · ".join(labels), 40) if labels else phrase("picture.heading")
    (width_in, height_in), em_in = figure.get_size_inches(), look.em_in
    left, line = 0.7 * em_in / width_in, em_in / height_in
    if look.headed:
        figure.text(left, 1 - 1.75 * line, heading, fontsize=look.title_pt, weight="bold")
        band = phrase("picture.band-of", band=band_text(trace.job.band, unit))
        inside = f"{windows_text(trace.windows, trace.end_s)}."
        figure.text(left, 1 - 3.4 * line, f"{band} {inside}", fontsize=look.text_pt)
    found = dict(zip(*reversed(curve.get_legend_handles_labels()), strict=True))
    names = [name for name in _LEGEND if name in found]
    figure.legend(
        [found[name] for name in names],
        [phrase(f"picture.{name.replace(' ', '-')}") for name in names],
        loc="upper left",
        bbox_to_anchor=(0.25 * em_in / width_in, 1 - (3.6 if look.headed else 0.1) * line),
        ncols=len(names),
        fontsize=0.5 * (look.small_pt + look.text_pt),
        frameon=False,
        handlelength=1.6,
        columnspacing=1.1,
        borderaxespad=0.0,
    )


def _write_foot(figure: Figure, lines: Sequence[str], look: Look) -> None:
    (width_in, height_in), em_in = figure.get_size_inches(), look.em_in
    for number, line in enumerate(reversed(lines)):
        figure.text(
            0.7 * em_in / width_in,
            (0.4 + number) * em_in / height_in,
            drawable(line, 95),
            fontsize=look.small_pt,
            color=style.SOFT_INK,
        )


def _date(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, tz=UTC).strftime("%Y-%m-%d %H:%M UTC")
