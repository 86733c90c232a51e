"""What a comparison cannot say, in sentences: too few runs, stays not seen to their end."""

from collections.abc import Set

from warmwatch.analysis.methods.comparison import Comparison
from warmwatch.analysis.methods.interval import TOO_FEW
from warmwatch.words.catalogue import capital, counted, phrase

_REPORTED = ("time_to_band_min", "span_min", "rate_model_c_per_min")
FEW_SHOWN = 3
"""More pairs with too few runs than this are told in one sentence."""


def merge_too_few(lines: list[str], few: Set[str], comparison: Comparison) -> list[str]:
    """Say of many pairs that their runs are too few in one sentence; `few` are those sentences."""
    if sum(sentence in few for sentence in lines) <= FEW_SHOWN:
        return lines
    least: dict[str, int] = {}
    for one in comparison.differences:
        if one.figure in _REPORTED:
            for name, n in ((one.a, one.n_a), (one.b, one.n_b)):
                least[name] = min(n, least.get(name, n))
    small = [
        phrase("compare.group-count", name=name, n=n)
        for name, n in sorted(least.items())
        if n <= TOO_FEW
    ]
    gathered = phrase("compare.few-groups", names=", ".join(small))
    return [*(sentence for sentence in lines if sentence not in few), gathered]


def unfinished_stays(comparison: Comparison) -> str:
    """Say that stays in the band cannot be compared where too few were seen to their end."""
    begun = sum("window_at_least_min" in piece.figures for piece in comparison.pieces)
    seen = [group.figures.get("window_min") for group in comparison.groups]
    enough = sum(figure is not None and figure.n > TOO_FEW for figure in seen)
    if len(comparison.groups) < 2 or enough >= 2 or begun == 0:
        return ""
    ended = sum(figure.n for figure in seen if figure is not None)
    if not ended:
        return phrase("compare.stays-none")
    return counted("compare.stays-some", ended, ended=ended, begun=begun)


def too_few_text(a: str, n: int, b: str, m: int, what: str) -> str:
    """Return that so few runs tell nothing; where one of the groups has enough, only of the other.

    >>> too_few_text("drive", 2, "idle", 4, "the time to the band")
    'Two runs of drive are too few to compare the time to the band with that of idle.'
    """
    if n == m:
        return counted("compare.few-each", n, Number=_number(n), a=a, b=b, what=what)
    (few, name), (more, other) = sorted(((n, a), (m, b)))
    if more > TOO_FEW:
        return counted("compare.few", few, Number=_number(few), a=name, b=other, what=what)
    return phrase("compare.few-both", a=name, b=other, what=what)


def _number(n: int) -> str:
    """Return a small number as a word with a capital."""
    words = phrase("compare.numbers").split(" ")
    return capital(words[n]) if n < len(words) else str(n)
