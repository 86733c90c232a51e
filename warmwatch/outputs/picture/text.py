"""Words and ticks of the plot."""

import math
import unicodedata
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.font_manager import FontProperties, findfont, get_font

from warmwatch.core.band import Window
from warmwatch.core.reading import Mark, MarkName
from warmwatch.words.catalogue import clock, mark_name, phrase

FONT = "DejaVu Sans"
"""Comes with the drawing library, so that a picture looks the same everywhere."""

_STEPS_S = (1, 2, 5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400)
_TICKS_MOST = 8
_NOTE_MOST = 26


def drawable(text: str, most: int = 60) -> str:
    """Return free text as one short line of characters that the font has."""
    font = get_font(findfont(FontProperties(family=FONT)))
    text = " ".join(text.split())
    shown = "".join(
        char if unicodedata.category(char)[0] != "C" and font.get_char_index(ord(char)) else "?"
        for char in text
    )
    return shown if len(shown) <= most else shown[: most - 1] + "…"


def duration(seconds: float) -> str:
    """Return `7 min 34 s`, `34 s` or `1 h 20 min`."""
    minutes, rest_s = divmod(round(seconds), 60)
    if minutes >= 60:
        return f"{minutes // 60} h {minutes % 60} min"
    return f"{minutes} min {rest_s} s" if minutes else f"{rest_s} s"


def mark_text(marks: Sequence[Mark]) -> str:
    """Return one label for marks that stand close together."""
    words = [
        drawable(mark.note or mark_name(mark.name), _NOTE_MOST)
        if mark.name is MarkName.NOTE
        else mark_name(mark.name)
        for mark in marks
    ]
    distinct = list(dict.fromkeys(words))
    more = len(distinct) - 2
    return ", ".join(distinct[:2]) + (f" +{more}" if more > 0 else "")


def windows_text(windows: Sequence[Window], end_s: float) -> str:
    """Return one line about the time spent in the band."""
    if not windows:
        return phrase("picture.never")
    lengths_s = [_left_s(window, end_s) - window.entered_crossed_s for window in windows]
    if len(windows) > 1:
        return phrase("picture.times", n=len(windows), length=duration(sum(lengths_s)))
    window = windows[0]
    start, length = clock(window.entered_crossed_s), duration(lengths_s[0])
    if window.left_crossed_s is None:
        return phrase("picture.to-end", start=start, length=length)
    return phrase("picture.once", start=start, end=clock(window.left_crossed_s), length=length)


def _left_s(window: Window, end_s: float) -> float:
    return end_s if window.left_crossed_s is None else window.left_crossed_s


def time_ticks(axes: Axes, start_s: float, end_s: float) -> None:
    """Put round clock times under the axes, and say what they are."""
    days_s = _STEPS_S[-1] * math.ceil((end_s - start_s) / _STEPS_S[-1] / _TICKS_MOST)
    step_s = next((s for s in _STEPS_S if (end_s - start_s) / s <= _TICKS_MOST), days_s)
    first = -int(-start_s // step_s)
    ticks = [n * step_s for n in range(first, int(end_s // step_s) + 1)]
    if step_s < 600 or end_s < 3600:
        axes.set_xticks(ticks, [clock(tick) for tick in ticks])
        axes.set_xlabel(phrase(f"picture.time-{'' if end_s < 3600 else 'h-'}min-s"))
        return
    axes.set_xticks(ticks, [f"{tick // 3600}:{tick % 3600 // 60:02}" for tick in ticks])
    axes.set_xlabel(phrase("picture.time-h-min"))
