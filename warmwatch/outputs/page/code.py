"""The page's link as a QR code (ISO/IEC 18004) in the cells of a terminal."""

from warmwatch.outputs.screen.glyphs import Glyphs

BORDER = 2
"""Light modules around the code. The standard asks for four; two have been enough on a screen
whose own border is light or empty, and let the code fit into 20 rows."""


def code_rows(text: str, glyphs: Glyphs, *, dark_on_light: bool = True) -> list[str]:
    """Return the code as rows of cells; empty where the terminal has no half blocks.

    With `dark_on_light` filled pixels are the dark modules, for a light background that the caller
    sets; without it they are the light ones, for a dark terminal.
    """
    if glyphs.halves is None:
        return []
    import segno

    matrix = [[bool(cell) for cell in row] for row in segno.make(text, error="l").matrix]
    wide = len(matrix[0]) + 2 * BORDER
    side, light = [False] * BORDER, [False] * wide
    rows = [light] * BORDER + [[*side, *row, *side] for row in matrix] + [light] * BORDER
    rows += [light] * (len(rows) % 2)
    return [
        "".join(
            _cell(a == dark_on_light, b == dark_on_light, glyphs)
            for a, b in zip(*pair, strict=True)
        )
        for pair in zip(rows[::2], rows[1::2], strict=True)
    ]


def _cell(upper: bool, lower: bool, glyphs: Glyphs) -> str:
    assert glyphs.halves is not None
    if upper and lower:
        return glyphs.block
    if upper or lower:
        return glyphs.halves[0 if upper else 1]
    return " "
