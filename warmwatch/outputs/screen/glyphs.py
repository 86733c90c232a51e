"""The characters that a screen is drawn with, chosen by what the terminal can show.

The full set keeps to the characters of WGL4, which the console fonts of every system have (from
memory); what the encoding of the terminal lacks is drawn with plain characters instead.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from warmwatch.outputs.screen.headline import Headline


@dataclass(frozen=True, slots=True)
class Glyphs:
    """One set. `halves` are the upper and the lower half block; None without them.

    `pictures` show where the fluid stands to the band: a ball before, in or behind the brackets.
    """

    name: str
    block: str
    halves: tuple[str, str] | None
    rule: str
    trail: str
    inside: str
    low_edge: str
    high_edge: str
    marker: str
    beyond: tuple[str, str]
    degree: str
    dot: str
    ball: str
    cross: str
    pictures: Mapping[Headline, str] = field(default_factory=dict)


def _pictures(ball: str, cross: str) -> dict[Headline, str]:
    return {
        Headline.WAITING: "[ ? ]",
        Headline.RESTING: "z z z",
        Headline.BELOW: f"{ball}  [   ]",
        Headline.LEVELLING: f"{ball} ¦[   ]" if cross != "X" else f"{ball} |[   ]",
        Headline.NEAR: f"{ball}>[   ]",
        Headline.INSIDE: f"[ {ball} ]",
        Headline.TOP_NEAR: f"[  {ball}]>",
        Headline.BOTTOM_NEAR: f"<[{ball}  ]",
        Headline.NOT_FIT: f"[ {ball} ] !",
        Headline.PLUG_OPEN: "( ) !",
        Headline.HOLD_LIMIT: "||| !!!",
        Headline.ABOVE: f"[   ]  {ball}",
        Headline.TOO_HOT: f"[   ]  {ball} !!!",
        Headline.BLIND: f"{cross}{cross}{cross}",
        Headline.ENDED: "[ - ]",
    }


FULL = Glyphs(
    "full", "█", ("▀", "▄"), "─", "═", "▒", "▐", "▌", "█", ("◄", "►"), "°", "·", "●", "×",
    _pictures("●", "×"),
)  # fmt: skip
LATIN = Glyphs(
    "latin", "#", None, "-", "=", ":", "[", "]", "¤", ("«", "»"), "°", "·", "¤", "×",
    _pictures("¤", "×"),
)  # fmt: skip
ASCII = Glyphs(
    "ascii", "#", None, "-", "=", ":", "[", "]", "O", ("<", ">"), "", "|", "O", "X",
    _pictures("O", "X"),
)  # fmt: skip


def glyphs_for(encoding: str | None) -> Glyphs:
    """Return the richest set that `encoding` can show.

    >>> [glyphs_for(name).name for name in ("utf-8", "cp1252", "ascii", None)]
    ['full', 'latin', 'ascii', 'ascii']
    """
    for glyphs in (FULL, LATIN):
        if _shows(glyphs, encoding or "ascii"):
            return glyphs
    return ASCII


def _shows(glyphs: Glyphs, encoding: str) -> bool:
    marks = (
        glyphs.block,
        *(glyphs.halves or ()),
        glyphs.rule,
        glyphs.trail,
        glyphs.inside,
        glyphs.low_edge,
    )
    more = (glyphs.high_edge, glyphs.marker, *glyphs.beyond, glyphs.degree, glyphs.dot)
    text = "".join((*marks, *more, glyphs.ball, *glyphs.pictures.values()))
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def plain(text: str, glyphs: Glyphs) -> str:
    """Return `text` with only what the set's terminals can show; the length may change.

    Control characters, as notes and adapters may hold them, never reach the terminal.
    """
    clean = "".join(char if char.isprintable() else " " for char in text)
    if glyphs.name == "full":
        return clean
    shown = clean.replace("°", glyphs.degree).replace("−", "-").replace("·", glyphs.dot)
    encoding = "cp1252" if glyphs.name == "latin" else "ascii"
    return shown.encode(encoding, "replace").decode(encoding)
