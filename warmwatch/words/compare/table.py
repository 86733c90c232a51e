"""The table of a comparison: figures down, groups across."""

from collections.abc import Sequence

from warmwatch.analysis.methods.comparison import Comparison, Group
from warmwatch.core.units import from_c
from warmwatch.words.catalogue import phrase
from warmwatch.words.compare.rows import (
    DIFFERENCE,
    MINUTES,
    RATE,
    TEMPERATURE,
    figure_rows,
    kind_text,
)


def shown_value(value: float, kind: str, unit: str) -> str:
    """Return a figure in the unit of show, with no more digits than it deserves."""
    if kind == TEMPERATURE:
        value = from_c(value, unit)
    elif kind in (RATE, DIFFERENCE) and unit == "F":
        value *= 1.8
    digits = 2 if kind == RATE else 1
    if kind == TEMPERATURE or (kind == MINUTES and abs(value) >= 20.0):
        digits = 0
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if not float(text) else text


def table(comparison: Comparison, unit: str, width: int) -> list[str]:
    """Return the table: figures down, groups across, in blocks that fit the width."""
    rows = [
        (name, words, kind)
        for name, words, kind in figure_rows(comparison.span, unit)
        if any(name in group.figures for group in comparison.groups)
    ]
    heads = [
        phrase("table.head", words=words, kind=kind_text(kind, unit)) for _, words, kind in rows
    ]
    runs = phrase("table.runs")
    left = max([len(runs), *(len(head) for head in heads)]) + 2
    columns = [_column(group, rows, unit) for group in comparison.groups]
    lines: list[str] = []
    for block in _blocks(columns, width - left):
        lines += [] if not lines else [""]
        for number, head in enumerate(["", runs, *heads]):
            cells = (f"{column[number]:>{_width(column)}}" for column in block)
            lines.append(f"{head:<{left}}{'  '.join(cells)}".rstrip())
    return lines


def _column(group: Group, rows: Sequence[tuple[str, str, str]], unit: str) -> list[str]:
    return [group.name, str(group.n), *(_cell(group, name, kind, unit) for name, _, kind in rows)]


def _cell(group: Group, name: str, kind: str, unit: str) -> str:
    figure = group.figures.get(name)
    if figure is None:
        return "-"
    low, middle, high = (
        shown_value(value, kind, unit) for value in (figure.low, figure.median, figure.high)
    )
    code = "range-below" if "-" in low + high else "range"
    spread = f" ({phrase(f'table.{code}', low=low, high=high)})" if low != high else ""
    runs = f" [{figure.n}]" if figure.n != group.n else ""
    return f"{middle}{spread}{runs}"


def _width(column: Sequence[str]) -> int:
    return max(len(cell) for cell in column)


def _blocks(columns: Sequence[list[str]], width: int) -> list[list[list[str]]]:
    blocks: list[list[list[str]]] = [[]]
    used = 0
    for column in columns:
        if blocks[-1] and used + _width(column) + 2 > width:
            blocks.append([])
            used = 0
        blocks[-1].append(column)
        used += _width(column) + 2
    return blocks
