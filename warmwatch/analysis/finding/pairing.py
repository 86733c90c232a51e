"""Compares candidates: the one that rises first is the coolant, and doubts are reported."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from warmwatch.analysis.finding.candidate import (
    Candidate,
    Sample,
    Surroundings,
    rise_time_s,
    value_of,
)

SAME_C = 2.0
GROUP_SHARE = 0.6
SOONER_SHARE, SOONER_MARK = 0.8, 0.5
CLEAR_SCORE = 0.4
"""With less than this no signal file is offered: it would look like knowledge."""
CLEAR_RISE_C = 10.0
RIVAL_SHARE = 0.8


def paired(found: Sequence[Candidate], records: Mapping[int, Sequence[Sample]]) -> list[Candidate]:
    """Mark down what rises clearly sooner than another good candidate.

    For when no coolant curve is known: a control unit passes on the coolant's or the engine oil's
    temperature, too, and the fluid is the one that lags. `found` is sorted, best first.
    """
    group = [one for one in found if one.score >= GROUP_SHARE * found[0].score]
    if len(group) < 2:
        return list(found)
    times = {id(one): _rise_s(one, records[one.identifier]) for one in group}
    last = max(group, key=lambda one: times[id(one)])
    limit_s = SOONER_SHARE * times[id(last)]
    marked = [
        _marked_down(one, last) if id(one) in times and times[id(one)] < limit_s else one
        for one in found
    ]
    return sorted(marked, key=lambda one: -one.score)


def _rise_s(one: Candidate, samples: Sequence[Sample]) -> float:
    """Seconds from a tenth to half of the rise: how long it stood before does not count."""
    curve = [(at.elapsed_s, value_of(at.record, one.first_byte, one.scale)) for at in samples]
    return rise_time_s(curve) - rise_time_s(curve, 0.1)


def _marked_down(one: Candidate, last: Candidate) -> Candidate:
    words = (
        f"rises sooner than 22 {last.identifier:04X} byte {last.first_byte}: perhaps the coolant "
        f"or the engine oil"
    )
    return replace(one, score=round(one.score * SOONER_MARK, 3), evidence=(*one.evidence, words))


def why_not_clear(candidates: Sequence[Candidate], around: Surroundings) -> str:
    """Return why the first candidate is no answer yet, or an empty text when it is one."""
    if not candidates or candidates[0].score < CLEAR_SCORE:
        return "watch for longer, from a colder start"
    if not around.references:
        return (
            "nothing says at which temperature it began, so that any scale may fit: begin after a "
            "night's rest and give the air's temperature (--air)"
        )
    best = candidates[0]
    if best.end_c - best.start_c < CLEAR_RISE_C:
        return f"it rose by only {best.end_c - best.start_c:.0f} K: watch for longer"
    for other in candidates[1:]:
        place = (other.identifier, other.first_byte) != (best.identifier, best.first_byte)
        if place and other.score >= RIVAL_SHARE * best.score and _differs(best, other):
            return (
                f"22 {best.identifier:04X} byte {best.first_byte} and 22 {other.identifier:04X} "
                f"byte {other.first_byte} fit about as well and differ: watch for longer"
            )
    return ""


def _differs(one: Candidate, other: Candidate) -> bool:
    return max(abs(one.start_c - other.start_c), abs(one.end_c - other.end_c)) > SAME_C
