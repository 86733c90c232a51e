"""Figures and words as tall as the window allows, from our own drawing of each sign."""

from warmwatch.outputs.screen.glyphs import Glyphs

PIXELS_HIGH = 7
_GAP = 1

# Drawn by us, seven pixels high; each row a string, # is set.
_SIGNS = {
    "0": ".###. ##.## ##.## ##.## ##.## ##.## .###.",
    "1": "..##. .###. ..##. ..##. ..##. ..##. .####",
    "2": ".###. ##.## ...## ..##. .##.. ##... #####",
    "3": "####. ...## ...## .###. ...## ...## ####.",
    "4": "...## ..### .#.## ##.## ##### ...## ...##",
    "5": "##### ##... ####. ...## ...## ##.## .###.",
    "6": ".###. ##... ##... ####. ##.## ##.## .###.",
    "7": "##### ...## ...## ..##. ..##. .##.. .##..",
    "8": ".###. ##.## ##.## .###. ##.## ##.## .###.",
    "9": ".###. ##.## ##.## .#### ...## ...## .###.",
    "-": "... ... ... ### ... ... ...",
    ".": ".. .. .. .. .. ## ##",
    "?": ".###. ##.## ...## ..##. ..##. ..... ..##.",
    " ": "... ... ... ... ... ... ...",
    "A": ".###. ##.## ##.## ##.## ##### ##.## ##.##",
    "B": "####. ##.## ##.## ####. ##.## ##.## ####.",
    "D": "####. ##.## ##.## ##.## ##.## ##.## ####.",
    "E": "##### ##... ##... ####. ##... ##... #####",
    "F": "##### ##... ##... ####. ##... ##... ##...",
    "G": ".###. ##.## ##... ##### ##.## ##.## .###.",
    "H": "##.## ##.## ##.## ##### ##.## ##.## ##.##",
    "I": "#### .##. .##. .##. .##. .##. ####",
    "L": "##... ##... ##... ##... ##... ##... #####",
    "M": "##...## ###.### ####### ##.#.## ##...## ##...## ##...##",
    "N": "##..## ###.## ###### ##.### ##..## ##..## ##..##",
    "O": ".###. ##.## ##.## ##.## ##.## ##.## .###.",
    "P": "####. ##.## ##.## ####. ##... ##... ##...",
    "R": "####. ##.## ##.## ####. ###.. ##.## ##.##",
    "S": ".#### ##... ##... .###. ...## ...## ####.",
    "T": "###### ..##.. ..##.. ..##.. ..##.. ..##.. ..##..",
    "U": "##.## ##.## ##.## ##.## ##.## ##.## .###.",
    "V": "##.## ##.## ##.## ##.## ##.## .###. ..#..",
    "Y": "##..## ##..## .####. ..##.. ..##.. ..##.. ..##..",
    "W": "##...## ##...## ##.#.## ##.#.## ####### ###.### ##...##",
}


def big(text: str, width: int, height: int, glyphs: Glyphs) -> list[str]:
    """Return `text` drawn as large as fits into `width` by `height` cells; empty if none fits.

    A text with a sign that has no drawing is not drawn.
    """
    if not set(text) <= _SIGNS.keys():
        return []
    signs = [_SIGNS[char].split() for char in text]
    pixels = [("." * _GAP).join(sign[row] for sign in signs) for row in range(PIXELS_HIGH)]
    scale = min(width // len(pixels[0]), 2 * height // PIXELS_HIGH)
    if glyphs.halves is None:
        scale -= scale % 2
    if scale < 1:
        return []
    tall = [row for row in pixels for _ in range(scale)]
    if len(tall) % 2:
        tall.append("." * len(pixels[0]))
    rows = zip(tall[::2], tall[1::2], strict=True)
    return [
        "".join(_cell(*pair, glyphs) * scale for pair in zip(*row, strict=True)) for row in rows
    ]


def _cell(upper: str, lower: str, glyphs: Glyphs) -> str:
    """Return the character for two pixels, one above the other."""
    if upper == lower:
        return glyphs.block if upper == "#" else " "
    assert glyphs.halves is not None
    return glyphs.halves[0] if upper == "#" else glyphs.halves[1]
