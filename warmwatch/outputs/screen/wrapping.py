"""Lines broken at a width in cells, not characters: many scripts take two cells for a sign."""

import re

from rich.cells import cell_len, chop_cells

WIDEST_SIGN = 2
_WORD = re.compile(r"\s*\S+")


def wrap(text: str, width: int, *, indent: str = "") -> list[str]:
    """Return `text` in lines of at most `width` cells, broken at spaces where there are any.

    All lines but the first begin with `indent`, where the width has room for it.

    >>> wrap("油温センサー is lost", 8, indent="  ")
    ['油温セン', '  サー', '  is', '  lost']
    """
    width = max(width, WIDEST_SIGN)
    indent = indent if len(indent) + WIDEST_SIGN <= width else ""
    lines = [""]
    for piece in _WORD.findall(text):
        if cell_len(lines[-1] + piece) <= width:
            lines[-1] += piece
            continue
        word = piece.lstrip()
        lines = [*lines, indent + word] if lines[-1] else [word]
        while cell_len(lines[-1]) > width:
            whole, rest = _cut(lines[-1], width)
            lines[-1:] = [whole, indent + rest]
    return [line for line in lines if line]


def _cut(line: str, width: int) -> tuple[str, str]:
    whole = chop_cells(line, width)[0]
    return whole, line[len(whole) :]
