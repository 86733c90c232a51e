"""The middle part of the plot: forecasts as they stood, beside what then happened."""

from collections.abc import Sequence

from matplotlib.axes import Axes

from warmwatch.core.band import Window
from warmwatch.core.forecast.forecaster import Forecast
from warmwatch.outputs.picture import style
from warmwatch.outputs.picture.style import Look
from warmwatch.outputs.picture.trace import Trace
from warmwatch.words.catalogue import phrase
from warmwatch.words.events import clock

_APPROACH = (0.05, 0.3, 0.55, 0.8)
_INSIDE = (0.15, 0.6)
_COLORS = {"enter": style.BAND_EDGE, "leave": style.DOUBT}


def pick_forecasts(trace: Trace) -> list[Forecast]:
    """Return the forecasts to show: some before the first entry, some before it was left.

    Without an entry they are spread over the whole recording.
    """
    first = trace.windows[0] if trace.windows else None
    if first is None:
        return _spread(_going(trace, "enter", trace.start_s, trace.end_s), (*_APPROACH, 0.95))
    approach = _going(trace, "enter", trace.start_s, first.entered_crossed_s)
    inside = _going(trace, "leave", first.entered_s, _end_s(first, trace))
    return [*_spread(approach, _APPROACH), *_spread(inside, _INSIDE)]


def _end_s(window: Window, trace: Trace) -> float:
    return trace.end_s if window.left_crossed_s is None else window.left_crossed_s


def _going(trace: Trace, to: str, start_s: float, end_s: float) -> list[Forecast]:
    return [f for f in trace.forecasts if f.to == to and start_s <= f.elapsed_s < end_s]


def _spread(forecasts: Sequence[Forecast], parts: Sequence[float]) -> list[Forecast]:
    """Return the forecasts nearest to these parts of the time they cover, each once.

    Where some can name a time, those that cannot are left out.
    """
    usable = [f for f in forecasts if f.q50_s is not None] or list(forecasts)
    if not usable:
        return []
    start_s, end_s = forecasts[0].elapsed_s, forecasts[-1].elapsed_s
    moments = [start_s + part * (end_s - start_s) for part in parts]
    nearest = [min(usable, key=lambda f, at=at: abs(f.elapsed_s - at)) for at in moments]  # type: ignore[misc]
    return list(dict.fromkeys(nearest))


def horizon_s(trace: Trace) -> float:
    """Return how far the time axis has to reach: past the end only where the band was not met."""
    if trace.windows:
        return trace.end_s
    ends_s = [f.elapsed_s + (f.q90_s or f.q50_s or 0.0) for f in pick_forecasts(trace)]
    most_s = trace.end_s + 0.5 * (trace.end_s - trace.start_s)
    return max(trace.end_s, min(max(ends_s, default=0.0), most_s))


def draw_forecasts(axes: Axes, trace: Trace, forecasts: Sequence[Forecast], look: Look) -> None:
    """Draw one row for each forecast; the limits in time are already set."""
    for row, forecast in enumerate(forecasts):
        _draw_row(axes, row, forecast, look)
    axes.set_ylim(len(forecasts) - 0.4, -0.6)
    axes.set_yticks(range(len(forecasts)), [_label(f) for f in forecasts])
    axes.tick_params(axis="y", length=0, labelsize=look.small_pt)
    axes.set_title(phrase("picture.forecasts"), loc="left", fontsize=look.small_pt, pad=4.0)
    for window in trace.windows[:1]:
        axes.axvline(window.entered_crossed_s, color=style.BAND_EDGE, linewidth=2.2, zorder=1.0)
        if window.left_crossed_s is not None and window.ended_by in ("left-high", "left-low"):
            axes.axvline(window.left_crossed_s, color=style.DOUBT, linewidth=2.2, zorder=1.0)


def _label(forecast: Forecast) -> str:
    return f"{'in' if forecast.to == 'enter' else 'out'} {clock(forecast.elapsed_s)}"


def _draw_row(axes: Axes, row: int, forecast: Forecast, look: Look) -> None:
    now_s, (start_s, end_s) = forecast.elapsed_s, axes.get_xlim()
    color = _COLORS.get(forecast.to, style.INK)
    axes.plot(
        [now_s],
        [row],
        color=style.INK,
        marker="|",
        markersize=12.0,
        markeredgewidth=2.4,
        clip_on=False,
    )
    if forecast.q50_s is None:
        late = now_s > (start_s + end_s) / 2.0  # or the words would not fit in
        axes.annotate(
            phrase("picture.not-reached"),
            (now_s, row),
            xytext=(-8 if late else 8, 0),
            textcoords="offset points",
            ha="right" if late else "left",
            va="center",
            fontsize=look.small_pt,
        )
        return
    early_s = now_s + (forecast.q50_s if forecast.q10_s is None else forecast.q10_s)
    late_s = end_s if forecast.q90_s is None else now_s + forecast.q90_s
    axes.plot([now_s, early_s], [row, row], color=style.SOFT_INK, linewidth=1.2, linestyle=":")
    axes.plot(
        [early_s, min(late_s, end_s)], [row, row], color=color, linewidth=7.0, solid_capstyle="butt"
    )
    if late_s >= end_s:
        axes.plot(
            [end_s], [row], color=color, marker=">", markersize=11.0, clip_on=False, zorder=4.0
        )
    axes.plot(
        [now_s + forecast.q50_s],
        [row],
        color="white",
        marker="o",
        markersize=9.0,
        markeredgecolor=style.INK,
        markeredgewidth=2.0,
        zorder=3.0,
    )
