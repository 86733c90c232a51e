"""Time until an edge of the band is reached, with quantiles."""

from dataclasses import dataclass, replace
from math import exp, inf, log

from warmwatch.core.forecast.context import Context
from warmwatch.core.forecast.features import features
from warmwatch.core.forecast.net import Answer, answer
from warmwatch.core.forecast.prior import Prior, expectation, own_levels
from warmwatch.core.forecast.track import Track
from warmwatch.core.phase import Phase

_Logs = tuple[float, float, float]

__all__ = ["Forecast", "Forecaster", "Prior"]

WITHIN_S = 3600.0
"""`chance` is that of reaching the edge within so many seconds."""
LEAST_SEEN_S = 20.0
"""Before so much was seen nothing is said."""
_SETTLE_S = 10.0
"""After a break in the path nothing is said for so long: the first rows may repeat an old value."""
_RATE_WINDOW_S = 120.0
_OFF_CHANCE = 0.02  # an engine that does not run does not heat
_EASE_S, _EASE_SHARE = 20.0, 0.06  # memory of the figures: so long, and that share of what is left
# In a series of holds each hold and each rest would swing the figure; measured on simulated holds.
_HOLDS_EASE_S, _HOLDS_EASE_SHARE = 60.0, 0.12
_MOST_QUESTIONS = 8  # edges remembered for easing
_EASE_GAP_S = 12.0  # asked more rarely than twice the slowest poll, every forecast stands alone
_CHANCE_EASE_S = 45.0  # between two steps of a slow climb the bare chance falls, to leap at a step
_REACHED_CHANCE, _KEPT_CHANCE = 0.5, 0.4  # from here times are given, and below this no more
_BENDING = 2.0  # below one part in so many the bare chance takes weight from the records
_LEVELS_CHANCE = 0.5  # above this nothing is said about levelling off
_LEVELS_SEEN_S = 120.0  # nor before so much was seen
_COOLING_K_PER_S = 0.2 / 60.0  # a fluid that falls faster does not level off
_FELL_C = 2.0
_MOST_AHEAD = 0.5  # of the climb so far: with more than that ahead the end is a guess
_DEVIATE = 1.2815515655446004  # normal 90 % point


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the fluid reaches an edge, counted from `elapsed_s`.

    `edge` is "low" before the band and "high" inside it. The quantiles are those of the time in
    the case that the edge is reached; all are None where it rather is not reached at the present
    way of heating. `chance` is the probability that it is reached within an hour at the present way
    of heating (a drive ends some time). `level_c` is where the fluid would level off short of the
    edge, None while that cannot be said. `rate_c_per_min` is the present heating rate.
    """

    elapsed_s: float
    edge: str
    q10_s: float | None
    q50_s: float | None
    q90_s: float | None
    chance: float
    level_c: float | None
    rate_c_per_min: float


class Forecaster:
    """Follows the fluid and says when an edge is reached.

    >>> forecaster = Forecaster()
    >>> for second in range(0, 601, 10):
    ...     forecaster.update(float(second), 30.0 + second / 30.0)
    >>> forecast = forecaster.to_edge(600.0, 60.0, "low")
    >>> forecast.q10_s < 300.0 < forecast.q90_s
    True
    """

    def __init__(self, prior: Prior | None = None) -> None:
        self._prior = prior
        self._track = Track()
        self._context = Context()
        self._given: set[tuple[str, float]] = set()
        self._last: dict[tuple[str, float], tuple[float, _Logs]] = {}
        self._chances: dict[tuple[str, float], tuple[float, Phase, float]] = {}

    def update(
        self,
        elapsed_s: float,
        fluid_c: float,
        *,
        phase: Phase = Phase.UNKNOWN,
        coolant_c: float | None = None,
        ambient_c: float | None = None,
        engine_rpm: float | None = None,
        speed_kmh: float | None = None,
    ) -> None:
        """Take one good reading; the other values are used where they are known."""
        self._track.add(elapsed_s, fluid_c)
        context = self._context
        if coolant_c is not None:
            context.coolant.add(elapsed_s, coolant_c)
        if ambient_c is not None:
            context.ambient.add(elapsed_s, ambient_c)
        if engine_rpm is not None:
            context.rpm.add(elapsed_s, engine_rpm)
        if speed_kmh is not None:
            context.speed.add(elapsed_s, speed_kmh)
        if context.due(elapsed_s, phase):
            context.step(elapsed_s, phase, self._track.level())

    def restart(self) -> None:
        """Continuity was lost (a blind gap): what was seen last no longer says where it stands."""
        self._track.restart()
        self._last.clear()
        self._given.clear()
        self._chances.clear()
        self._context.restart()

    def to_edge(self, elapsed_s: float, target_c: float, edge: str) -> Forecast:
        """Return the forecast for `target_c`: reached ("low") or passed ("high")."""
        track = self._track
        seen_s = track.now_s - track.start_s
        broken = 0.0 <= track.now_s - track.broken_s < _SETTLE_S
        if track.value is None or seen_s < LEAST_SEEN_S or broken:
            self._eased_chance((edge, target_c), 0.5)
            return Forecast(elapsed_s, edge, None, None, None, 0.5, None, 0.0)
        level = track.level()
        target = track.target_level(target_c, edge == "high")
        span = max(min(_RATE_WINDOW_S, track.now_s - track.broken_s), 10.0)
        rate = (level - track.at(track.now_s - span, level)) / span
        line_s, found = features(track, self._context, target, level)
        guess, logs = self._with_prior(answer(found), log(line_s), level, target)
        chance = self._eased_chance((edge, target_c), guess.chance)
        if self._context.phase is Phase.OFF:
            chance = min(chance, _OFF_CHANCE)
        guess = replace(guess, chance=chance)
        logs = self._eased((edge, target_c), logs)
        waited = elapsed_s - track.now_s
        times = [round(max(exp(x) - waited, 0.0), 1) for x in logs]
        q10, q50, q90 = times if self._likely((edge, target_c), guess.chance) else (None,) * 3
        level_c = None if rate < -_COOLING_K_PER_S else self._levelling(guess, level, target)
        chance = round(guess.chance, 3)
        return Forecast(elapsed_s, edge, q10, q50, q90, chance, level_c, round(rate * 60.0, 2))

    def _eased_chance(self, question: tuple[str, float], chance: float) -> float:
        """Return the chance led on from the last one; a change of phase shows at once."""
        now_s, phase = self._track.now_s, self._context.phase
        before_s, before_phase, was = self._chances.get(question, (-inf, phase, chance))
        dt = now_s - before_s
        if 0.0 <= dt <= _EASE_GAP_S and phase is before_phase:
            chance += (was - chance) * _CHANCE_EASE_S / (_CHANCE_EASE_S + dt)
        if len(self._chances) >= _MOST_QUESTIONS and question not in self._chances:
            self._chances.clear()
        self._chances[question] = (now_s, phase, chance)
        return chance

    def _likely(self, question: tuple[str, float], chance: float) -> bool:
        """Whether to give times; once given they stay a little longer, so as not to flicker."""
        if chance >= (_KEPT_CHANCE if question in self._given else _REACHED_CHANCE):
            self._given.add(question)
            return True
        self._given.discard(question)
        return False

    def _eased(self, question: tuple[str, float], logs: _Logs) -> _Logs:
        """Return the log times led on from the last ones, so that the figures do not jump about."""
        now_s = self._track.now_s
        before = self._last.get(question)
        if before is not None and 0.0 <= now_s - before[0] <= _EASE_GAP_S:
            dt = now_s - before[0]
            ease_s = min(_EASE_S, _EASE_SHARE * exp(logs[1]))
            if self._context.in_holds():
                ease_s = min(_HOLDS_EASE_S, _HOLDS_EASE_SHARE * exp(logs[1]))
            keep = ease_s / (ease_s + dt)
            low, middle, high = (
                new + keep * (log(max(exp(was) - dt, 0.5)) - new)
                for new, was in zip(logs, before[1], strict=True)
            )
            logs = low, middle, high
        if len(self._last) >= _MOST_QUESTIONS:
            self._last.clear()
            self._given.clear()
        self._last[question] = (now_s, logs)
        return logs

    def _with_prior(
        self, guess: Answer, line: float, level: float, target: float
    ) -> tuple[Answer, _Logs]:
        """Return the answer and log times for q10, q50, q90, weighed with the prior by spread."""
        low, _, middle, _, high = (line + r for r in guess.ratios)
        usual = self._usual(level, target)
        if usual is None:
            return guess, (low, middle, high)
        spread = max((high - low) / (2.0 * _DEVIATE), 0.02)
        share = spread**2 / (spread**2 + usual[1] ** 2)
        shift = share * (usual[0] - middle)
        # The two are not independent (both saw this run): half the gain in spread is believed.
        narrow = 0.5 * (1.0 + (1.0 - share) ** 0.5)
        soon = (log(WITHIN_S) - usual[0]) / usual[1]
        # That it usually arrived is worth little once this run is seen to bend off.
        worth = share * min(1.0, _BENDING * guess.chance)
        chance = guess.chance + worth * (0.5 * (1.0 + soon / (1.0 + abs(soon))) - guess.chance)
        middle += shift
        down, up = (low + shift - middle) * narrow, (high + shift - middle) * narrow
        return replace(guess, chance=chance), (middle + down, middle, middle + up)

    def _usual(self, level: float, target: float) -> tuple[float, float] | None:
        """Return mean and spread of the log time that earlier recordings lead to expect."""
        track = self._track
        if self._prior is None or target - level < 0.05:
            return None
        own = own_levels(level, max(track.start_level, min(track.levels)))
        when = track.last_below(own, level)
        pairs = [(x, track.now_s - t) for x, t in zip(own, when, strict=True) if t is not None]
        usual = expectation(self._prior, level, target, pairs)
        if usual is None:
            return None
        like = max(self._prior.likeness(self._context.long_share), 0.05)
        return usual[0], usual[1] / like

    def _levelling(self, guess: Answer, level: float, target: float) -> float | None:
        """Return where the climb ends short of the target, once most of the climb was seen."""
        track = self._track
        if guess.chance > _LEVELS_CHANCE or self._context.phase is Phase.OFF:
            return None
        if track.now_s - max(track.broken_s, track.start_s) < _LEVELS_SEEN_S or self._fell():
            return None
        gain = max(exp(guess.gain) * (max(target - level, 0.0) + 1.0) - 1.0, 0.0)
        climb = level - min(track.levels)
        if level + gain > target - 0.5 * track.quantum_c or gain > max(_MOST_AHEAD * climb, 3.0):
            return None
        return round(level + gain, 1)

    def _fell(self) -> bool:
        """Whether the fluid cooled until a moment ago, so that a climb has only begun, if any."""
        track, level = self._track, self._track.level()
        before, lately = (track.at(track.now_s - ago_s, level) for ago_s in (600.0, 120.0))
        return lately < before - _FELL_C
