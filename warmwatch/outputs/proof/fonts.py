"""The fonts of the proof: the one that is shipped, and one of this computer for other scripts."""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from warmwatch.words.catalogue import phrase

SHIPPED = "DejaVu Sans"
MOST_TOLD = 12


@dataclass(frozen=True, slots=True)
class Chosen:
    """`families` in their order, `paths` of their folders; `unreadable` letters have no font."""

    families: tuple[str, ...]
    paths: tuple[Path, ...]
    unreadable: str = ""

    @property
    def sentence(self) -> str:
        """What to say of letters without a font; empty where there are none."""
        if not self.unreadable:
            return ""
        shown = " ".join(f"U+{ord(char):04X}" for char in self.unreadable[:MOST_TOLD])
        more = "…" if len(self.unreadable) > MOST_TOLD else ""
        return phrase("proof.no-font", letters=f"{shown}{more}")


def comparable(words: str) -> str:
    """Return a page's words without what depends on the fonts of the computer that made it.

    Letters that the shipped font lacks become boxes, and what is said of them is left out.
    """
    missing = _missing(words, _shipped() / "DejaVuSans.ttf")
    said = re.escape(phrase("proof.no-font", letters="@")).replace("@", "(?:U\\+[0-9A-F]+ ?)+…?")
    words = " ".join(re.sub(said, "", words).split())
    return words.translate({ord(char): "□" for char in missing})


def choose(text: str) -> Chosen:
    """Return the fonts for a text: the shipped one alone wherever that is enough."""
    missing = _missing(text, _shipped() / "DejaVuSans.ttf")
    families, paths = [SHIPPED], [_shipped()]
    for family, path in _installed() if missing else ():
        left = _missing("".join(missing), path)
        if len(left) < len(missing):
            families.append(family)
            paths.append(path.parent)  # the typesetter looks into folders only
            missing = left
        if not missing:
            break
    return Chosen(tuple(families), tuple(paths), "".join(sorted(missing)))


def _shipped() -> Path:
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf"


def _installed() -> Iterator[tuple[str, Path]]:
    """Yield the upright, regular fonts of this computer by name."""
    import typst

    fonts = typst.Fonts(include_system_fonts=True, include_embedded_fonts=False).fonts()
    plain: list[Any] = [f for f in fonts if f.path and f.style == "normal" and f.weight == 400]
    for font in sorted(plain, key=lambda f: (f.family, str(f.path))):
        if font.family != SHIPPED and not font.index:
            yield font.family, Path(font.path)


def _missing(text: str, font: Path) -> set[str]:
    """Return the letters that a font does not have; all of them where it cannot be read."""
    from matplotlib.ft2font import FT2Font

    letters = {char for char in text if unicodedata.category(char)[0] not in "CZ"}
    try:
        known = FT2Font(str(font)).get_charmap()
    except (RuntimeError, OSError):
        return letters
    return {char for char in letters if ord(char) not in known}
