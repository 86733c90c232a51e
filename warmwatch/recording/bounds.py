"""How much of one item fits into a row: no row may be longer than its readers take.

An item is cut before it is recorded and folded, so that a replay folds the same. What was cut says
so itself.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from warmwatch.core.reading import Item, Mark, Reading
from warmwatch.core.units import QUANTITIES

MAX_TEXT = 2000
"""Characters of a note, a reason or of raw bytes; escaped they take four bytes each at the most."""
MAX_MEMBERS = 4000
"""Characters of all doubts or of all further values; escaped they take seven bytes at the most."""
CUT = "... (cut)"
_DOUBT = 150  # so that the doubts of all quantities fit: a lost one would be a value believed
_NUMBER = 25  # characters of the longest float
_PUNCTUATION = 8  # of one member of a JSON object


def cut(text: str, limit: int = MAX_TEXT) -> str:
    """Return the text, or as much of it as fits with the remark that it was cut.

    >>> cut("drips slowly", 10)
    'd... (cut)'
    """
    return text if len(text) <= limit else text[: limit - len(CUT)] + CUT


def bounded(item: Item) -> Item:
    """Return the item, cut to what fits into a row; the same object when all of it fits."""
    if isinstance(item, Mark):
        note = cut(item.note)
        return item if note is item.note else replace(item, note=note)
    if isinstance(item, Reading):
        return _bounded_reading(item)
    gap = cut(item.gap)
    return item if gap is item.gap else replace(item, gap=gap)


def _bounded_reading(reading: Reading) -> Reading:
    other = {name: _NUMBER for name in reading.values if name not in QUANTITIES}
    doubts = {name: len(why) for name, why in reading.doubts.items()}
    if len(reading.raw) <= MAX_TEXT and max(_size(other), _size(doubts)) <= MAX_MEMBERS:
        return reading
    kept = set(_fitting(other)) | set(QUANTITIES)
    values = {name: value for name, value in reading.values.items() if name in kept}
    told = {name: cut(why, _DOUBT) for name, why in reading.doubts.items()}
    doubts = {name: len(why) for name, why in told.items()}
    told = {name: told[name] for name in _fitting(doubts)}
    left_out = len(reading.values) - len(values) + len(reading.doubts) - len(told)
    if left_out:
        told["row"] = f"{left_out} more did not fit{CUT}"
    return replace(reading, values=values, doubts=told, raw=cut(reading.raw))


def _size(members: Mapping[str, int]) -> int:
    return sum(len(name) + size + _PUNCTUATION for name, size in members.items())


def _fitting(members: Mapping[str, int]) -> Iterator[str]:
    """Yield the names of the members that fit, quantities first: those are what is judged by."""
    room = MAX_MEMBERS - 100
    for name in sorted(members, key=lambda name: name not in QUANTITIES):
        room -= len(name) + members[name] + _PUNCTUATION
        if room >= 0:
            yield name
