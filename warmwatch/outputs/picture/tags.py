"""Marks and alarms: numbered tags above the curve, and what they mean in a key below it.

So nothing that is written ever lies on what was measured.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from warmwatch.core.events import Event, EventKind
from warmwatch.core.level.marks import standing_marks
from warmwatch.core.reading import Mark, MarkName
from warmwatch.outputs.picture import style
from warmwatch.outputs.picture.style import Look
from warmwatch.outputs.picture.text import drawable, mark_text
from warmwatch.outputs.picture.trace import Trace
from warmwatch.words.catalogue import clock, phrase

MOST_TAGS = 14
_CLOSE = 0.004
"""Marks closer than this part of the width share a tag."""
KEY_LETTERS = 38
_ALARMS = (EventKind.TOO_HOT, EventKind.HOLD_LIMIT, EventKind.NOT_FIT)


@dataclass(frozen=True, slots=True)
class Tag:
    """One tag: its time in elapsed seconds, and its line in the key."""

    at_s: float
    text: str
    color: str


def make_tags(trace: Trace, width_s: float) -> list[Tag]:
    """Return the tags in order of time, at most MOST_TAGS: what stands close together shares one.

    Of more than half as many alarms only the first are shown.
    """
    alarms = [
        Tag(event.elapsed_s, _alarm(event), style.DOUBT)
        for event in trace.events
        if event.kind in _ALARMS
    ][: MOST_TAGS // 2]
    standing = standing_marks(trace.marks)
    told = [mark for mark in standing if mark.name is not MarkName.ACKNOWLEDGE]
    close_s = _CLOSE * width_s
    while len(groups := grouped(told, close_s)) > MOST_TAGS - len(alarms):
        close_s *= 1.5
    marks = [
        Tag(group[0].elapsed_s, f"{clock(group[0].elapsed_s)} {mark_text(group)}", style.INK)
        for group in groups
    ]
    return sorted(marks + alarms, key=lambda tag: tag.at_s)


def _alarm(event: Event) -> str:
    return f"{clock(event.elapsed_s)} {phrase(f'picture.{event.kind}')}"


def grouped(marks: Iterable[Mark], close_s: float) -> list[list[Mark]]:
    """Return the marks in groups that begin at most `close_s` apart."""
    groups: list[list[Mark]] = []
    for mark in sorted(marks, key=lambda mark: mark.elapsed_s):
        if groups and mark.elapsed_s - groups[-1][0].elapsed_s < close_s:
            groups[-1].append(mark)
        else:
            groups.append([mark])
    return groups


def spread(places: Sequence[float], least: float) -> list[float]:
    """Return ascending places in 0 to 1, moved until `least` lies between each two of them.

    >>> spread([0.2, 0.5, 0.5, 1.0], 0.25)
    [0.2, 0.45, 0.7, 0.95]
    """
    moved: list[float] = []
    for place in places:
        # A tag is pushed to the right only half as far as it could be, so that a crowd stays
        # around its middle.
        moved.append(place if not moved else max(place - least / 5, moved[-1] + least))
    top = 1.0
    for number in reversed(range(len(moved))):
        moved[number] = min(moved[number], top)
        top = moved[number] - least
    return [round(max(0.0, place), 6) for place in moved]


def draw_tags(axes: Axes, tags: Sequence[Tag], look: Look) -> None:
    """Draw an upright line for each tag, and its number above the panel."""
    start_s, end_s = axes.get_xlim()
    parts = [min(max((tag.at_s - start_s) / (end_s - start_s), 0.0), 1.0) for tag in tags]
    em_x = look.em_in / (axes.get_position().width * look.width_in)
    em_y = look.em_in / look.curve_in
    for number, (tag, part, place) in enumerate(
        zip(tags, parts, spread(parts, 1.4 * em_x), strict=True), 1
    ):
        axes.axvline(
            tag.at_s, color=tag.color, linewidth=look.scale, linestyle=(0, (1, 2)), zorder=2.0
        )
        axes.plot(
            [part, place],
            [1.0, 1.0 + 0.6 * em_y],
            transform=axes.transAxes,
            color=tag.color,
            linewidth=look.scale,
            clip_on=False,
            scalex=False,
            scaley=False,
        )
        axes.text(
            place,
            1.0 + 1.05 * em_y,
            str(number),
            transform=axes.transAxes,
            ha="center",
            va="center",
            color="white",
            weight="bold",
            fontsize=look.small_pt,
            bbox={"boxstyle": "round,pad=0.18", "facecolor": tag.color, "edgecolor": "none"},
        )


def key_rows(tags: Sequence[Tag], look: Look) -> int:
    """Return how many lines the key takes."""
    return -(-len(tags) // look.columns)


def write_key(figure: Figure, tags: Sequence[Tag], look: Look, top_in: float) -> None:
    """Write what the numbers mean, in columns, from `top_in` downward."""
    width_in, height_in = figure.get_size_inches()
    rows = key_rows(tags, look)
    for index, tag in enumerate(tags):
        column, row = divmod(index, rows)
        left_in = 0.7 * look.em_in + column * (width_in - look.em_in) / look.columns
        figure.text(
            left_in / width_in,
            (top_in - (row + 0.8) * look.em_in) / height_in,
            drawable(f"{index + 1}  {tag.text}", KEY_LETTERS),
            fontsize=look.small_pt,
            color=tag.color,
        )
