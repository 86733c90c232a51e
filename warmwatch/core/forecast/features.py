"""The numbers a forecast rests on: rates over several windows as ratios, and what is known beside.

Rates enter as logarithms of ratios to one reference rate, so a small slow gearbox and a large fast
one look alike; the answer is likewise a ratio to the straight line at the reference rate. Only the
level of heat itself (thermostats open at much the same temperature everywhere) is absolute.
"""

from math import log
from operator import mul

from warmwatch.core.forecast.context import Context, Slow
from warmwatch.core.forecast.track import Track
from warmwatch.core.phase import Phase

_WINDOWS_S = (45.0, 90.0, 180.0, 420.0, 1000.0)
_STEPS = (0, 1, 2, 3, 4, 6, 8, 12, 16, 24, 32)
# Least squares of "how long ago" over step number, as rows of the pseudo-inverse: which steps (as
# places in _STEPS), and the rows for constant, slope and bend.
_FITS: tuple[tuple[tuple[int, ...], tuple[tuple[float, ...], ...]], ...] = (
    (
        (0, 1, 2, 3, 4, 5, 6),
        (
            (0.68373, 0.37979, 0.14206, -0.02949, -0.13484, -0.14696, 0.10571),
            (-0.33703, -0.10711, 0.06321, 0.17393, 0.22504, 0.14847, -0.16651),
            (0.0331, 0.00702, -0.01163, -0.02283, -0.02659, -0.0118, 0.03274),
        ),
    ),
    (
        (0, 2, 4, 5, 6, 7, 8),
        (
            (0.68373, 0.37979, 0.14206, -0.02949, -0.13484, -0.14696, 0.10571),
            (-0.16852, -0.05355, 0.0316, 0.08696, 0.11252, 0.07423, -0.08326),
            (0.00827, 0.00175, -0.00291, -0.00571, -0.00665, -0.00295, 0.00819),
        ),
    ),
    (
        (0, 4, 6, 7, 8, 9, 10),
        (
            (0.68373, 0.37979, 0.14206, -0.02949, -0.13484, -0.14696, 0.10571),
            (-0.08426, -0.02678, 0.0158, 0.04348, 0.05626, 0.03712, -0.04163),
            (0.00207, 0.00044, -0.00073, -0.00143, -0.00166, -0.00074, 0.00205),
        ),
    ),
    (
        (0, 1, 2, 3, 4),
        (
            (0.6, 0.4, 0.2, 0.0, -0.2),
            (-0.2, -0.1, 0.0, 0.1, 0.2),
        ),
    ),
    (
        (0, 2, 4, 6),
        (
            (0.6, 0.4, 0.2, -0.2),
            (-0.1, -0.04286, 0.01429, 0.12857),
        ),
    ),
)
_MIRRORS = (0.25, 0.5, 1.0, 2.0, 4.0)
CANDIDATES = (2, 6, 17, 18, 19, 21, 24, 25, 29, 31, 33, 35, 65)
"""Places of those features that are themselves log times (or rates), which the net mixes."""
_LEAST_RATE = 0.03 / 60.0  # K/s, under this nothing is called heating
_WONT_RATE = 1.5 / 60.0  # K/s, assumed for the first moments only
_WONT_S = 20.0


def _log(ratio: float) -> float:
    return log(0.03 if ratio < 0.03 else (12.0 if ratio > 12.0 else ratio))


def _clip(value: float, size: float) -> float:
    return -size if value < -size else (size if value > size else value)


def reference_rate(track: Track, level: float) -> float:
    """Return K/s over the shortest window that holds three steps (at least 90 s)."""
    times, levels = track.times, track.levels
    now = track.now_s
    least = 3.0 * track.quantum_c if not track.fine else 3.0 * track.noise_c
    i = len(times) - 1
    while i > 0 and (level - levels[i] < least or now - times[i] < 90.0) and now - times[i] < 400.0:
        i -= 1
    rate = (level - levels[i] + _WONT_RATE * _WONT_S) / (now - times[i] + _WONT_S)
    return max(rate, _LEAST_RATE)


def features(
    track: Track, context: Context, target: float, level: float
) -> tuple[float, list[float]]:
    """Return the straight-line time to `target` in seconds, and the feature vector."""
    now = track.now_s
    left = max(target - level, 0.02)
    rate = reference_rate(track, level)
    history = max(now - track.start_s, 1.0)
    climb = level - track.start_level
    start_rate = (climb + _WONT_RATE * _WONT_S) / (history + _WONT_S)
    found = _windows(track, level, rate, history)
    found.append(_log(start_rate / rate))
    found += _paces(track, level, left, rate, max(start_rate, _LEAST_RATE))
    q = track.quantum_c if not track.fine else 4.0 * track.noise_c + 0.02
    late = (now - track.times[-1]) * rate / q if not track.fine else 0.5
    found += [
        _clip(log(history / 600.0), 3.0),
        log(left) - 2.0,
        _log(left / max(climb, 0.5)),
        _clip(log(rate * 60.0), 3.0),
        _clip(log(q / (rate * 60.0)), 3.0),
        _clip(log(q / left), 3.0),
        min(late, 4.0),
        level / 100.0,
        target / 100.0,
        _clip(climb / 20.0, 4.0),
        _clip(log(max(now - track.broken_s, 5.0) / 600.0), 3.0),
    ]
    found += _phases(track, context, level, rate)
    found += _beside(context, now, target, level)
    return left / rate, found


def _windows(track: Track, level: float, rate: float, history: float) -> list[float]:
    found: list[float] = []
    now = track.now_s
    first = 0.0
    for window in _WINDOWS_S:
        span = window if window < history else history
        r = (level - track.at(now - span, level)) / max(span, 5.0) / rate
        first = first or r
        found.append(_log(r))
    found.append(_clip(first, 3.0))
    return found


def _paces(track: Track, level: float, left: float, rate: float, start_rate: float) -> list[float]:
    """Return how long ago the last steps were crossed, and how long the last D/4 ... 4 D took.

    All as logarithms of ratios to the straight line; then how the pace changed from one stretch to
    the one before, and how unevenly the steps came.
    """
    step = max(track.quantum_c, 0.5)
    edge = track.levels[-1] if not track.fine else level
    target_level = level + left
    steps = [edge - j * step for j in _STEPS]
    mirrors = [level - m * left for m in _MIRRORS]
    wanted = sorted(steps + mirrors, reverse=True)
    when = dict(zip(wanted, track.last_below(wanted, level), strict=True))
    now = track.now_s

    def ago(below: float) -> float:
        seen = when[below]
        if seen is not None:
            return max(now - seen, 0.5)
        first = now - track.start_s
        return max(first + (track.start_level - below) / start_rate, 0.5)

    ages = [ago(s) for s in steps]
    found = [_log(a * rate / (level - s)) for a, s in zip(ages[1:], steps[1:], strict=True)]
    found += _fits(ages, (target_level - edge) / step, left / rate)
    took = [ago(m) for m in mirrors]
    found += [_log(t * rate / (m * left)) for t, m in zip(took, _MIRRORS, strict=True)]
    for i in range(len(took) - 1):
        before = max(took[i + 1] - took[i], 0.5)
        found.append(_log(before / took[i]))
        found.append(_log(_fading(_MIRRORS[i], took[i], before) * rate / left))
    return found


def _fading(share: float, took_s: float, before_s: float) -> float:
    """Return the time for one unit of climb if the rate falls off evenly with the level.

    The last `share` of it took `took_s` and the same share before that `before_s`; that is
    Newton's law of cooling, solved through two stretches.
    """
    near, far = share / took_s, share / before_s
    slope = (far - near) / share
    start = near - slope * share / 2.0
    end = start - slope
    if start <= 0.0 or end <= 0.02 * start:
        return 1e6
    spread = start - end
    return log(start / end) / spread if abs(spread) > 1e-3 * start else 1.0 / start


def _fits(ages: list[float], ahead: float, line_s: float) -> list[float]:
    """Return times to the step `ahead` by bent and straight fits, and how rough the steps are."""
    found = []
    rough = 0.0
    for places, rows in _FITS:
        some = [ages[i] for i in places]
        coefficients = [sum(map(mul, row, some)) for row in rows]
        found.append(_log(-_polynomial(coefficients, -ahead) / line_s))
        if not rough:
            misses = [
                abs(_polynomial(coefficients, float(_STEPS[i])) - age)
                for i, age in zip(places, some, strict=True)
            ]
            rough = sum(misses) / (abs(coefficients[1]) + 1.0)
    found.append(log(rough + 0.03))
    return found


def _polynomial(coefficients: list[float], x: float) -> float:
    total = 0.0
    for c in reversed(coefficients):
        total = c + total * x
    return total


def _phases(track: Track, context: Context, level: float, rate: float) -> list[float]:
    now = track.now_s
    phase = context.phase
    found = [float(phase is p) for p in Phase]
    moving = (Phase.DRIVING, Phase.LOADED, Phase.IDLE)
    found += [context.short_share[p] for p in moving]
    found += [context.long_share[p] for p in moving]
    here_s = now - context.phase_since_s
    found.append(_clip(log(max(here_s, 5.0) / 60.0), 3.0))
    mixed = 0.0
    for p in moving:
        own = (context.gained_c[p] / rate + 60.0) / (context.spent_s[p] + 60.0)
        found.append(_clip(own, 4.0))
        mixed += own * context.long_share[p]
        found.append(
            _clip(log((context.spent_s[p] + 10.0) / (context.stretches[p] + 1) / 60.0), 3.0)
        )
    found.append(-_log(mixed))
    span = min(max(here_s, 15.0), 150.0)
    found.append(_clip((level - track.at(now - span, level)) / (span * rate), 3.0))
    return found


def _beside(context: Context, now: float, target: float, level: float) -> list[float]:
    coolant, rpm, speed = context.coolant, context.rpm, context.speed
    found = [0.0, 0.0, 0.0, 0.0]
    if coolant.fresh(now) and coolant.now is not None:
        found = [
            1.0,
            _clip((coolant.now - level) / 30.0, 3.0),
            _clip((coolant.now - target) / 30.0, 3.0),
            _clip((coolant.now - coolant.short) / 3.0, 2.0),
        ]
    around = context.ambient.now
    found += [0.0, 0.0] if around is None else [1.0, _clip((level - around) / 50.0, 3.0)]
    found += _revs(rpm) if rpm.fresh(now) else [0.5, 0.0, 0.0]
    return [*found, _clip(speed.short / 50.0, 3.0), _clip(speed.long / 50.0, 3.0)]


def _revs(rpm: Slow) -> list[float]:
    now = max(rpm.now or 0.0, 300.0)
    short, long = max(rpm.short, 300.0), max(rpm.long, 300.0)
    return [short / 1500.0, _clip(log(now / short), 2.0), _clip(log(short / long), 2.0)]
