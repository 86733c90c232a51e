"""What a person with a ruler would say, as features beside the ensemble: lines, and Newton's law.

Every time enters as the logarithm of its ratio to the ensemble's median, so that a small slow
transmission and a large fast one look alike. `sign` is 1 for a rise and -1 for a fall to `target`.
"""

from math import exp, log
from typing import NamedTuple

from warmwatch.core.forecast.context import Context
from warmwatch.core.forecast.track import Track
from warmwatch.core.phase import Phase

FEATURES = (
    "low", "high", "reaching", "within", "line_60", "line_180", "line_300", "line_way",
    "line_start", "newton", "middle", "way_s", "seen_s", "left", "moved", "step", "level", "target",
    "rate", "uneven", "coolant", "falling", "idle", "loaded", "driving", "off", "unknown",
    "driven", "holds", "held", "line_600", "speed", "brisk", "revs",
)  # fmt: skip
"""Names of the features in order; a table of corrections is for these names or refused."""
_LEAST_K_PER_S = 0.02 / 60.0
_MOST_S = 20000.0
_MOST_BEND, _STRAIGHT, _NEVER_SHARE = 3.0, 0.01, 1e-4


class Members(NamedTuple):
    """What the members say of one target: quantiles in s of those that reach it, and how many do.

    `ever` is their share before the horizon, `within` that within the hour, and `lasting` that
    within the hour and before a drive ends.
    """

    q10: float
    q50: float
    q90: float
    ever: float
    within: float
    lasting: float


def _ratio(time_s: float, middle_s: float) -> float:
    return min(max(log(max(time_s, 1.0) / middle_s), -3.0), 3.0)


def _line(track: Track, span_s: float, level: float, left: float, sign: float) -> float:
    """Return the time to go at the mean rate over the last `span_s`."""
    rate = sign * (level - track.at(track.now_s - span_s, level)) / max(span_s, 1.0)
    return min(left / max(rate, _LEAST_K_PER_S), _MOST_S)


def _newton(track: Track, span_s: float, level: float, left: float, sign: float) -> float:
    """Return the time when the rate falls off evenly with the temperature.

    Two halves of the last `span_s` give two rates; Newton's law of cooling through them.
    """
    half = max(span_s / 2.0, 1.0)
    middle, start = (track.at(track.now_s - ago, level) for ago in (half, 2.0 * half))
    late, early = sign * (level - middle), sign * (middle - start)
    if late <= _LEAST_K_PER_S * half or early <= 0.0:
        return _line(track, span_s, level, left, sign)
    bend = min(max(log(early / late), -_MOST_BEND), _MOST_BEND)  # decay of the rate in one half
    if abs(bend) < _STRAIGHT:
        return min(left / late * half, _MOST_S)
    to_come = late / (exp(bend) - 1.0)  # negative where the rate grows
    share = 1.0 - left / to_come
    return min(-log(share) / bend * half, _MOST_S) if share > _NEVER_SHARE else _MOST_S


def features(
    track: Track,
    context: Context,
    level: float,
    target: float,
    sign: float,
    members: Members,
) -> list[float]:
    """Return the numbers of FEATURES."""
    now = track.now_s
    q10, q50, q90, ever, within, _ = members
    left = max(sign * (target - level), 0.05)
    way_s = max(min(now - context.way_since_s, now - track.start_s), 5.0)
    seen_s = max(now - track.start_s, 5.0)
    span = min(120.0, seen_s)
    rate = sign * (level - track.at(now - span, level)) / span
    moved = sign * (level - track.at(now - way_s, level))
    step = max(track.quantum_c, 4.0 * track.noise_c)
    times = [_line(track, min(s, seen_s), level, left, sign) for s in (60.0, 180.0, 300.0)]
    times += [_line(track, s, level, left, sign) for s in (way_s, seen_s)]
    times.append(_newton(track, min(way_s, 1200.0), level, left, sign))
    short = (level - track.at(now - span / 2.0, level)) / (span / 2.0)
    coolant, speed = context.coolant, context.speed
    beside = 0.0
    if coolant.fresh(now) and coolant.now is not None:
        beside = min(max(sign * (coolant.now - level) / 30.0, -3.0), 3.0)
    phase = context.phase
    found = [
        _ratio(q10, q50), _ratio(q90, q50), ever, within,
        *[_ratio(t, q50) for t in times],
        log(q50), log(way_s), log(seen_s), log(left),
        min(max(moved / max(step, 0.2), -5.0), 40.0), log(step / left), level, target,
        rate * 60.0, min(max((sign * short - rate) * 60.0, -5.0), 5.0), beside,
        float(sign < 0),
        *[float(phase is p) for p in
          (Phase.IDLE, Phase.LOADED, Phase.DRIVING, Phase.OFF, Phase.UNKNOWN)],
        context.driven, float(context.in_holds), context.held,
        _ratio(_line(track, min(600.0, seen_s), level, left, sign), q50),
        speed.short / 50.0, log((speed.short + 8.0) / (speed.long + 8.0)),
        log(max(context.rpm.short, 300.0) / max(context.rpm.long, 300.0)),
    ]  # fmt: skip
    return [round(x, 4) for x in found]
