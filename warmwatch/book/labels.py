"""Labels of vehicles and adapters: any text a person can type and read again."""

import difflib
import unicodedata
from collections.abc import Iterable

SHOP = "shop"
LONGEST = 80
_STEERING = {"Cc", "Zl", "Zp", "Cs"}  # control characters, line breaks, half characters


def clean_label(text: str) -> str:
    """Return the label with single blanks, in composed form; ValueError when it is none."""
    if any(unicodedata.category(char) in _STEERING and not char.isspace() for char in text):
        raise ValueError("a label cannot hold control characters")
    label = " ".join(unicodedata.normalize("NFC", text).split())
    if not label:
        raise ValueError("a label needs at least one character")
    if len(label) > LONGEST:
        raise ValueError(f"a label is at most {LONGEST} characters long")
    if label.startswith("-"):
        raise ValueError("a label cannot begin with a hyphen: an option of a command does")
    return label


def folded(text: str) -> str:
    """Return what two spellings of one label have in common.

    >>> folded("White  VAN") == folded("white van")
    True
    """
    return " ".join(unicodedata.normalize("NFC", text).casefold().split())


def near(text: str, labels: Iterable[str]) -> list[str]:
    """Return the labels that may have been meant, the likeliest first."""
    by_folded = {folded(label): label for label in labels}
    wanted = folded(text)
    found = difflib.get_close_matches(wanted, by_folded, n=4, cutoff=0.5)
    parts = [label for label in by_folded if wanted and wanted in label and label not in found]
    return [by_folded[label] for label in [*found, *parts]][:4]
