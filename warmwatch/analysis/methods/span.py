"""Chooses the common span: from which temperature to which the recordings are compared."""

from bisect import bisect_left
from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import accumulate

from warmwatch.analysis.methods.figures import RATE_HALF_C, Run, Span, label
from warmwatch.core.band import Band

SHORTEST_C = 5
"""A span shorter than this says little about a warm-up."""
ENOUGH = 3


def choose_span(
    runs: Sequence[Run],
    band: Band,
    *,
    from_c: int | None = None,
    to_c: int | None = None,
    at_c: Sequence[int] = (),
) -> Span:
    """Return the span; what is given is kept, the rest chosen from the recordings.

    First comes that every method is there (with up to ENOUGH runs), then that the covered runs
    times the length are the most. The end is never above the lower edge of the band.
    """
    shortest = 1 if from_c is not None and to_c is not None else SHORTEST_C
    tables = _coverage(runs)
    best: tuple[tuple[int, int, int, int], int, int] | None = None
    for start in _starts(runs, from_c):
        counts = [_running(table, start) for table in tables.values()]
        for end in _ends(runs, to_c, band):
            if end - start < shortest:
                continue
            covered = [_at_least(own, end) for own in counts]
            present = sum(min(n, ENOUGH) for n in covered)
            # On equal terms the lower start and the higher end: more of the warm-up.
            score = present, sum(covered) * (end - start), -start, end
            if present and (best is None or score > best[0]):
                best = score, start, end
    if best is None:
        return Span(band, from_c, to_c, tuple(at_c))
    _, start, end = best
    return Span(band, start, end, tuple(at_c) or _levels(start, end, band))


def _starts(runs: Sequence[Run], given: int | None) -> list[int]:
    return [given] if given is not None else sorted({run.features.climb_from_c for run in runs})


def _ends(runs: Sequence[Run], given: int | None, band: Band) -> list[int]:
    if given is not None:
        return [given]
    return sorted({min(_top(run), int(band.low_c)) for run in runs})


def _top(run: Run) -> int:
    return run.features.climb_from_c + len(run.features.climb_s) - 1


def _coverage(runs: Sequence[Run]) -> Mapping[str, Counter[tuple[int, int]]]:
    tables: dict[str, Counter[tuple[int, int]]] = {}
    for run in runs:
        tables.setdefault(label(run), Counter())[run.features.climb_from_c, _top(run)] += 1
    return tables


def _running(table: Counter[tuple[int, int]], start: int) -> tuple[list[int], list[int]]:
    """Return, of the runs that begin at `start` or below, their tops and the count up to each."""
    tops: Counter[int] = Counter()
    for (begin, top), n in table.items():
        if begin <= start:
            tops[top] += n
    levels = sorted(tops)
    return levels, list(accumulate(tops[level] for level in levels))


def _at_least(running: tuple[list[int], list[int]], end: int) -> int:
    levels, totals = running
    below = bisect_left(levels, end)
    return (totals[-1] if totals else 0) - (totals[below - 1] if below else 0)


def _levels(start: int, end: int, band: Band) -> tuple[int, ...]:
    """Return up to three whole tens inside the span, and the middle of the band."""
    inside = range(start + RATE_HALF_C, end - RATE_HALF_C + 1)
    tens = [level for level in inside if level % 10 == 0][-3:]
    middle = round((band.low_c + band.high_c) / 2)
    return (*(tens or [round((start + end) / 2)]), middle)
