"""The numbers a forecast rests on: rates over several windows as ratios, and what is known beside.

Rates enter as logarithms of ratios to one reference rate, so a small slow gearbox and a large fast
one look alike; the answer is likewise a ratio to the straight line at the reference rate. Only the
level of heat itself (thermostats open at much the same temperature everywhere) is absolute.
"""

from math import log

from warmwatch.core.forecast_context import Context, Slow
from warmwatch.core.forecast_track import Track
from warmwatch.core.phase import Phase

_WINDOWS_S = (45.0, 90.0, 180.0, 420.0, 1000.0)
_STEPS = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32)
_MIRRORS = (0.25, 0.5, 1.0, 2.0, 4.0)
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


def _paces(
    track: Track, level: float, left: float, rate: float, start_rate: float
) -> list[float]:
    """Return how long ago the last steps were crossed, and how long the last D/4 ... 4 D took.

    All as logarithms of ratios to the straight line; then how the pace changed from one stretch to
    the one before, and how unevenly the steps came.
    """
    step = max(track.quantum_c, 0.5)
    edge = track.levels[-1] if not track.fine else level
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
    found = [_log(age * rate / (level - s)) for age, s in zip(ages, steps, strict=True)]
    took = [ago(m) for m in mirrors]
    found += [_log(t * rate / (m * left)) for t, m in zip(took, _MIRRORS, strict=True)]
    for i in range(len(took) - 1):
        found.append(_log((took[i + 1] - took[i]) / (took[i] * (_MIRRORS[i + 1] / _MIRRORS[i] - 1))))
    found.append(_unevenness(ages))
    return found


def _unevenness(ages: list[float]) -> float:
    """Return how much the time for one step varied over the last eight, as a share."""
    gaps = [ages[1] - ages[0], ages[2] - ages[1], ages[3] - ages[2]]
    gaps += [(ages[4] - ages[3]) / 2.0, (ages[5] - ages[4]) / 2.0]
    bends = [abs(gaps[i + 1] - gaps[i]) for i in range(len(gaps) - 1)]
    return _clip(sum(bends) / (sum(gaps) + 1.0), 2.0)


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
        found.append(_clip(log((context.spent_s[p] + 10.0) / (context.stretches[p] + 1) / 60.0), 3.0))
    found.append(_clip(mixed, 4.0))
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
