"""What a comparison cannot tell, in sentences: too few runs, stays not seen to their end."""

from warmwatch.analysis.methods.comparison import Comparison
from warmwatch.analysis.methods.interval import TOO_FEW

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_TOO_FEW = " too few to tell "
_REPORTED = ("time_to_band_min", "span_min", "rate_model_c_per_min")
FEW_SHOWN = 3
"""More pairs with too few runs than this are told in one sentence."""


def merge_too_few(lines: list[str], comparison: Comparison) -> list[str]:
    """Say of many pairs that their runs are too few in one sentence."""
    few = [sentence for sentence in lines if _TOO_FEW in sentence]
    if len(few) <= FEW_SHOWN:
        return lines
    least: dict[str, int] = {}
    for one in comparison.differences:
        if one.figure in _REPORTED:
            for name, n in ((one.a, one.n_a), (one.b, one.n_b)):
                least[name] = min(n, least.get(name, n))
    small = [f"{name} ({n})" for name, n in sorted(least.items()) if n <= TOO_FEW]
    gathered = f"Groups with too few runs to tell them apart from others: {', '.join(small)}."
    return [*(sentence for sentence in lines if sentence not in few), gathered]


def unfinished_stays(comparison: Comparison) -> str:
    """Say that stays in the band cannot be compared where too few were seen to their end."""
    begun = sum("window_at_least_min" in piece.figures for piece in comparison.pieces)
    seen = [group.figures.get("window_min") for group in comparison.groups]
    enough = sum(figure is not None and figure.n > TOO_FEW for figure in seen)
    if len(comparison.groups) < 2 or enough >= 2 or begun == 0:
        return ""
    ended = sum(figure.n for figure in seen if figure is not None)
    return (
        f"How long the fluid stays in the band after each way cannot be compared: only {ended} of "
        f"{begun} stays {'was' if ended == 1 else 'were'} recorded to the end."
        if ended
        else "How long the fluid stays in the band after each way cannot be compared: all "
        "recordings that reached it end inside it."
    )


def too_few_text(a: str, n: int, b: str, m: int, what: str) -> str:
    """Return that so few runs tell nothing; where one of the groups has enough, only of the other.

    >>> too_few_text("drive", 2, "idle", 4, "the time to the band")
    'Two runs of drive are too few to tell the time to the band apart from that of idle.'
    """
    if n == m:
        verb = "run each of {} and {} is" if n == 1 else "runs each of {} and {} are"
        return f"{counted(n)} {verb.format(a, b)} too few to tell {what} apart."
    (few, name), (more, other) = sorted(((n, a), (m, b)))
    if more > TOO_FEW:
        verb = "run of {} is" if few == 1 else "runs of {} are"
        whose = f"{what} apart from that of {other}"
        return f"{counted(few)} {verb.format(name)} too few to tell {whose}."
    return f"One run of {name} and two of {other} are too few to tell {what} apart."


def counted(n: int) -> str:
    """Return a small number as a word with a capital."""
    return _NUMBERS[n].capitalize() if n < len(_NUMBERS) else str(n)
