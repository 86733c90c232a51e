"""Which byte of which record behaves like the fluid's temperature during a warm-up?

Each place in each record is read at each common scale, and what comes out is held against what a
fluid must do: start near the temperature the vehicle stood at, stay in a plausible range, rise
smoothly, more slowly than the coolant, and not like a clock. A high score is evidence and no
proof: the service information decides.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise, takewhile

from warmwatch.analysis.finding.candidate import (
    MIN_RISE_C,
    MIN_SAMPLES,
    Candidate,
    Sample,
    Surroundings,
    rise_time_s,
    value_of,
)
from warmwatch.analysis.finding.pairing import SAME_C, paired
from warmwatch.analysis.finding.scales import SCALES, Scale

LOW_C, HIGH_C = -39.0, 150.0
MAX_RATE_C_PER_S = 1.0
NEAR_C, FAR_C = 3.0, 15.0
IN_STEP_QUANTA = 1.2
EVEN_CLOCK = 0.02
RIVAL_SHARE = 0.6
RIVALS_TOLD = 2
WRAPS = 0.5
COLD_SPREAD_C, COLD_AT_MOST_C = 8.0, 45.0
"""After a cold soak coolant and air agree within the one and lie below the other (common practice,
no source)."""
NOT_COLD_MARK = 0.35
KEEP = 20
DOUBT = "DOUBT"
"""Evidence against a candidate begins with this word."""


def rank(
    records: Mapping[int, Sequence[Sample]], around: Surroundings, keep: int = KEEP
) -> list[Candidate]:
    """Return the best candidates, best first; `records` maps an identifier to its samples.

    Of several scales at the same bytes only the best stays, and of places that say the same the
    shorter one.
    """
    found: list[Candidate] = []
    for identifier, samples in records.items():
        found += _of_record(identifier, samples, around)
    found.sort(key=lambda one: (-one.score, one.scale.length, one.identifier, one.first_byte))
    if found and not around.has_coolant_curve:
        found = paired(found, records)
    return found[:keep]


def _of_record(
    identifier: int, samples: Sequence[Sample], around: Surroundings
) -> Iterator[Candidate]:
    lengths = {len(sample.record) for sample in samples}
    if len(lengths) != 1 or len(samples) < MIN_SAMPLES:
        return
    record_length = lengths.pop()
    for first_byte in range(record_length):
        for length in (1, 2):
            if first_byte + length > record_length:
                continue
            if length == 2 and not _moves(samples, first_byte + 1):
                continue  # the low byte never moves: the shorter reading says it all
            if length == 1 and _is_high_part(samples, first_byte):
                continue
            fits = [
                fit
                for scale in SCALES
                if scale.length == length
                and (fit := _fit(identifier, first_byte, scale, samples, around)) is not None
            ]
            if fits:
                yield _with_rivals(sorted(fits, key=lambda fit: -fit.score))


def _is_high_part(samples: Sequence[Sample], at: int) -> bool:
    """True when the next byte wraps while both together rise: the number has two bytes."""
    if at + 1 >= len(samples[0].record):
        return False
    low = [sample.record[at + 1] for sample in samples]
    both = [int.from_bytes(sample.record[at : at + 2], "big") for sample in samples]
    return _smooth_mark(low)[0] < WRAPS and _smooth_mark(both)[0] >= 1.0 - WRAPS / 10


def _with_rivals(fits: Sequence[Candidate]) -> Candidate:
    """Return the best fit of one place; other scales that fit about as well become evidence."""
    best = fits[0]
    rivals = tuple(
        f"{DOUBT}: the same bytes fit as {rival.scale} too, "
        f"{rival.start_c:g} to {rival.end_c:g} °C (score {rival.score:.2f})"
        for rival in fits[1 : 1 + RIVALS_TOLD]
        if rival.score >= RIVAL_SHARE * best.score and abs(rival.end_c - best.end_c) > SAME_C
    )
    return replace(best, evidence=best.evidence + rivals)


def _moves(samples: Sequence[Sample], at: int) -> bool:
    return len({sample.record[at] for sample in samples}) > 1


def _fit(
    identifier: int,
    first_byte: int,
    scale: Scale,
    samples: Sequence[Sample],
    around: Surroundings,
) -> Candidate | None:
    curve = [(sample.elapsed_s, value_of(sample.record, first_byte, scale)) for sample in samples]
    values = [value for _, value in curve]
    start_c, end_c = _median(values[:3]), _median(values[-3:])
    rise_c = end_c - start_c
    if min(values) < LOW_C or max(values) > HIGH_C or rise_c < MIN_RISE_C or _too_fast(curve):
        return None
    marks = [
        _start_mark(start_c, around),
        _cold_mark(curve[0][0], around),
        _smooth_mark(values),
        _rise_mark(rise_c),
        _coolant_mark(curve, around),
        _clock_mark(curve),
    ]
    score = scale.prior
    for mark, _ in marks:
        score *= mark
    evidence = tuple(words for _, words in marks if words)
    return Candidate(
        identifier,
        first_byte,
        scale,
        len(samples[0].record),
        round(score, 3),
        round(start_c, 1),
        round(end_c, 1),
        evidence,
    )


def _too_fast(curve: Sequence[tuple[float, float]]) -> bool:
    """True when one step is more than a fluid can do; a quantum of 1 K and noise are allowed."""
    return any(
        abs(value - before) > 3.0 + MAX_RATE_C_PER_S * (at_s - before_s)
        for (before_s, before), (at_s, value) in pairwise(curve)
    )


def _start_mark(start_c: float, around: Surroundings) -> tuple[float, str]:
    if not around.references:
        plausible = -25.0 <= start_c <= 45.0
        return (0.6 if plausible else 0.2), f"starts at {start_c:.1f} °C, nothing to compare with"
    name, reference_c = min(around.references, key=lambda one: abs(one[1] - start_c))
    off_c = abs(start_c - reference_c)
    mark = 1.0 - min(1.0, max(0.0, off_c - NEAR_C) / (FAR_C - NEAR_C))
    words = f"starts at {start_c:.1f} °C, {off_c:.1f} K from {name} ({reference_c:.1f} °C)"
    return max(0.05, mark), words


def _cold_mark(first_s: float, around: Surroundings) -> tuple[float, str]:
    """Without a cold start the start decides nothing: some wrong scale will fit it by chance."""
    known_c = [value for _, value in around.references]
    if not known_c:
        return 1.0, ""  # counted by the start's mark
    moved_c = _at(around.coolant, first_s) - around.coolant[0][1] if around.coolant else 0.0
    if max(known_c) > COLD_AT_MOST_C or max(known_c) - min(known_c) > COLD_SPREAD_C:
        seen = ", ".join(f"{name} {value:.0f} °C" for name, value in around.references)
        return NOT_COLD_MARK, f"{DOUBT}: no cold start ({seen}): the scale cannot be told from it"
    if moved_c > SAME_C:
        return NOT_COLD_MARK, (
            f"{DOUBT}: the coolant had risen by {moved_c:.0f} K before this was first read: the "
            f"scale cannot be told from its start"
        )
    return 1.0, ""


def _smooth_mark(values: Sequence[float]) -> tuple[float, str]:
    """The share of upward movement in all movement: 1 when it never turns back."""
    steps = [after - before for before, after in pairwise(values)]
    up, path = sum(step for step in steps if step > 0), sum(abs(step) for step in steps)
    share = max(0.0, 2 * up / path - 1) if path else 0.0
    return share, f"{up / path * 100 if path else 0:.0f} % of its movement is upward"


def _rise_mark(rise_c: float) -> tuple[float, str]:
    return min(1.0, 0.5 + rise_c / 40.0), f"rises by {rise_c:.1f} K"


def _coolant_mark(curve: Sequence[tuple[float, float]], around: Surroundings) -> tuple[float, str]:
    """Fluid lags the coolant; what equals the coolant is the coolant."""
    coolant = around.coolant
    if not around.has_coolant_curve:
        return 0.7, "no coolant curve to compare with"
    gaps = sorted(abs(value - _at(coolant, at_s)) for at_s, value in curve)
    if gaps[(9 * len(gaps)) // 10] <= SAME_C:
        return 0.1, "is the coolant temperature, or follows it within 2 K"
    if _in_step([(_at(coolant, at_s), value) for at_s, value in curve]):
        return 0.2, "moves in step with the coolant: perhaps the coolant at another scale"
    own_s, coolant_s = rise_time_s(curve), rise_time_s(coolant)
    lag_s = own_s - coolant_s
    slower = (curve[-1][1] - curve[0][1]) < (coolant[-1][1] - coolant[0][1])
    if lag_s > 0 or slower:
        return 1.0, f"rises more slowly than the coolant (half its rise {lag_s:+.0f} s after it)"
    return 0.5, f"rises sooner than the coolant (half its rise {lag_s:+.0f} s after it)"


def _in_step(points: Sequence[tuple[float, float]]) -> bool:
    """True when a straight line leads from the coolant to the candidate, but for quantisation."""
    count = len(points)
    mean_x, mean_y = (sum(point[axis] for point in points) / count for axis in (0, 1))
    spread = sum((x - mean_x) ** 2 for x, _ in points)
    slope = sum((x - mean_x) * (y - mean_y) for x, y in points) / spread if spread else 0.0
    worst = max(abs(y - mean_y - slope * (x - mean_x)) for x, y in points)
    return worst <= IN_STEP_QUANTA * max(_quantum(y for _, y in points), abs(slope))


def _clock_mark(curve: Sequence[tuple[float, float]]) -> tuple[float, str]:
    """A counter rises by the same amount in each second, far more evenly than heating does."""
    standing = list(takewhile(lambda point: point[1] == curve[0][1], curve))
    curve = curve[len(standing) - 1 :]  # a run time stands at 0 until the engine runs
    (first_s, first), (last_s, last) = curve[0], curve[-1]
    slope = (last - first) / (last_s - first_s) if last_s > first_s else 0.0
    quantum = _quantum(value for _, value in curve)
    worst = max(abs(value - first - slope * (at_s - first_s)) for at_s, value in curve)
    if worst <= 1.01 * quantum + EVEN_CLOCK * abs(last - first):
        return 0.7, "rises as evenly as a counter"
    return 1.0, ""


def _quantum(values: Iterable[float]) -> float:
    ordered = sorted(set(values))
    steps = [after - before for before, after in pairwise(ordered)]
    return min(steps, default=0.0)


def _at(curve: Sequence[tuple[float, float]], at_s: float) -> float:
    """Linear interpolation, constant beyond the ends."""
    if at_s <= curve[0][0]:
        return curve[0][1]
    for (before_s, before), (after_s, after) in pairwise(curve):
        if at_s <= after_s:
            share = (at_s - before_s) / (after_s - before_s) if after_s > before_s else 1.0
            return before + share * (after - before)
    return curve[-1][1]


def _median(values: Sequence[float]) -> float:
    return sorted(values)[len(values) // 2]
