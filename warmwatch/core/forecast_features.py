"""The numbers a forecast rests on: rates over several windows as ratios, and what is known beside.

Rates enter as logarithms of ratios to one reference rate, so a small slow gearbox and a large fast
one look alike; the answer is likewise a ratio to the straight line at the reference rate. Only the
level of heat itself (thermostats open at much the same temperature everywhere) is absolute.
"""

from math import log

from warmwatch.core.forecast_context import Context
from warmwatch.core.forecast_track import Track
from warmwatch.core.phase import Phase

_WINDOWS_S = (45.0, 90.0, 180.0, 420.0, 1000.0)
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


def features(track: Track, context: Context, target: float, level: float) -> tuple[float, list[float]]:
    """Return the straight-line time to `target` in seconds, and the feature vector."""
    now = track.now_s
    left = max(target - level, 0.02)
    rate = reference_rate(track, level)
    line_s = left / rate
    history = max(now - track.start_s, 1.0)
    climb = level - track.start_level
    start_rate = (climb + _WONT_RATE * _WONT_S) / (history + _WONT_S)
    found: list[float] = []
    short_rate = rate
    for window in _WINDOWS_S:
        span = window if window < history else history
        r = (level - track.at(now - span, level)) / max(span, 5.0)
        if window == _WINDOWS_S[0]:
            short_rate = r
        found.append(_log(r / rate))
    found.append(_log(start_rate / rate))
    found += _mirror(track, level, left, line_s, start_rate)
    q = track.quantum_c if not track.fine else 4.0 * track.noise_c + 0.02
    late = (now - track.times[-1]) * rate / q if not track.fine else 0.5
    found += [
        _clip(log(history / 600.0), 3.0),
        log(left) - 2.0,
        _log(left / max(climb, 0.5)),
        _clip(log(rate * 60.0), 3.0),
        _clip(log(q / (rate * 60.0)), 3.0),
        min(late, 4.0),
        level / 100.0,
        target / 100.0,
        _clip(climb / 20.0, 4.0),
        _clip(log(max(now - track.broken_s, 5.0) / 600.0), 3.0),
        _clip(short_rate / rate, 3.0),
    ]
    found += _beside(track, context, target, level, rate)
    return line_s, found


def _mirror(
    track: Track, level: float, left: float, line_s: float, start_rate: float
) -> list[float]:
    """Return how long the last D/2, D and 2 D of climb took, as ratios to the straight line."""
    shares = (0.5, 1.0, 2.0)
    times = track.last_below(tuple(level - s * left for s in shares), level)
    found = []
    for share, when in zip(shares, times, strict=True):
        took = share * left / max(start_rate, _LEAST_RATE) if when is None else track.now_s - when
        found.append(_log(max(took, 1.0) / (share * line_s)))
    return found


def _beside(
    track: Track, context: Context, target: float, level: float, rate: float
) -> list[float]:
    now = track.now_s
    phase = context.phase
    found = [float(phase is p) for p in Phase]
    moving = (Phase.DRIVING, Phase.LOADED, Phase.IDLE)
    found += [context.short_share[p] for p in moving]
    found += [context.long_share[p] for p in moving]
    here_s = now - context.phase_since_s
    found.append(_clip(log(max(here_s, 5.0) / 60.0), 3.0))
    spent = context.spent_s[phase]
    own = (context.gained_c[phase] + rate * 60.0) / (spent + 60.0)
    found.append(_log(own / rate))
    span = min(max(here_s, 15.0), 150.0)
    found.append(_clip((level - track.at(now - span, level)) / (span * rate), 3.0))
    coolant, ambient, rpm, speed = context.coolant, context.ambient, context.rpm, context.speed
    if coolant.fresh(now) and coolant.now is not None:
        found += [
            1.0,
            _clip((coolant.now - level) / 30.0, 3.0),
            _clip((coolant.now - target) / 30.0, 3.0),
            _clip((coolant.now - coolant.short) / 3.0, 2.0),
        ]
    else:
        found += [0.0, 0.0, 0.0, 0.0]
    around = ambient.now
    found += [0.0, 0.0] if around is None else [1.0, _clip((level - around) / 50.0, 3.0)]
    if rpm.fresh(now) and rpm.now is not None:
        found += [
            rpm.short / 1500.0,
            _clip(log(max(rpm.now, 300.0) / max(rpm.short, 300.0)), 2.0),
            _clip(log(max(rpm.short, 300.0) / max(rpm.long, 300.0)), 2.0),
        ]
    else:
        found += [0.5, 0.0, 0.0]
    found += [_clip(speed.short / 50.0, 3.0), _clip(speed.long / 50.0, 3.0)]
    return found
