"""Time until an edge of the band is reached or left, with quantiles."""

from collections.abc import Mapping

from warmwatch.core.forecast.answers import GIVEN_CHANCE, Answers, members_of
from warmwatch.core.forecast.ensemble import Doing
from warmwatch.core.forecast.follower import Beside, Follower
from warmwatch.core.forecast.prior import Prior, ensemble_of, learned_from
from warmwatch.core.forecast.results import Forecast, Outlook, Rest
from warmwatch.core.phase import Phase
from warmwatch.core.reason import Reason

__all__ = ["Forecast", "Forecaster", "Outlook", "Prior", "Rest"]

LEAST_SEEN_S = 20.0
"""Before so much was seen nothing is said."""
_SETTLE_S = 10.0
"""After a break in the path nothing is said for so long: the first rows may repeat an old value."""
_RATE_WINDOW_S = 120.0
_OUTLOOK_AGAIN_S = 60.0
_LEVELS_CHANCE = 0.5  # above this nothing is said about where it settles
_LEVELS_SEEN_S = 300.0  # of this way: before, the members judge by what others do
_SETTLING_K_PER_S = 0.5 / 60.0  # a fluid that falls faster settles nowhere yet
_MOST_AHEAD, _MOST_AHEAD_C = 0.5, 3.0  # of the climb so far: with more ahead the end is a guess
_FALLING_K_PER_S = 0.15 / 60.0
_OWN_STEPS, _OWN_S, _SPELL_S = 2, 180.0, 60.0
_HEADING_S, _HEADING_C = 300.0, 0.3


class Forecaster:
    """Follows the fluid and says when an edge is reached.

    A fluid that goes from 30 to 100 °C with a time constant of half an hour is at 60 °C 407 s after
    the tenth minute.

    >>> from math import exp
    >>> forecaster = Forecaster()
    >>> for second in range(0, 601, 10):
    ...     forecaster.update(float(second), 100.0 - 70.0 * exp(-second / 1800.0))
    >>> forecast = forecaster.to_edge(600.0, 60.0, "low")
    >>> forecast.q10_s < 407.0 < forecast.q90_s
    True
    """

    def __init__(self, prior: Prior | None = None) -> None:
        self._prior = prior
        self._follower = Follower(ensemble_of(prior))
        self._answers = Answers(self._follower, prior)
        self._outlook: tuple[float, float, Phase, tuple[Outlook, ...]] | None = None
        self._falls = False

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
        in_park: float | None = None,
    ) -> None:
        """Take one good reading; the other values are used where they are known."""
        beside = Beside(coolant_c, ambient_c, engine_rpm, speed_kmh, in_park)
        self._follower.update(elapsed_s, fluid_c, phase, beside)

    def restart(self) -> None:
        """Continuity was lost (a blind gap): what was seen last no longer says where it stands."""
        self._follower.restart()
        self._answers.forget()
        self._outlook = None

    def to_edge(self, elapsed_s: float, target_c: float, edge: str, to: str = "") -> Forecast:
        """Return the forecast for the edge at `target_c`.

        `to` is "enter" or "leave"; without it, "low" is entered and "high" left, both by warming.
        """
        to = to or ("enter" if edge == "low" else "leave")
        falling = (edge == "high") == (to == "enter")
        track = self._follower.track
        if not self._seen():
            return Forecast(
                elapsed_s, edge, None, None, None, 0.5, None, 0.0, to, Reason("too-early")
            )
        level = track.level()
        span = max(min(_RATE_WINDOW_S, track.now_s - track.broken_s), 10.0)
        rate = (level - track.at(track.now_s - span, level)) / span
        # A falling edge is reached with the first reading at or below it, so above the next step.
        target = track.target_level(target_c, edge == "high")
        answer = self._answers.to(target, falling, level)
        q10, q50, q90 = answer.times(elapsed_s) if answer.given else (None,) * 3
        level_c = self._settles(answer.chance, falling, level, target, rate)
        chance, per_min = round(answer.chance, 3), round(rate * 60.0, 2)
        basis = self._basis()
        return Forecast(elapsed_s, edge, q10, q50, q90, chance, level_c, per_min, to, basis)

    def learned(self, runs: int, spent_s: Mapping[Phase, float]) -> Prior:
        """Return what was learned of this vehicle so far, from so many recordings."""
        return learned_from(self._follower.ensemble, runs, spent_s)

    def falls(self) -> bool:
        """Whether the fluid cools at the present way, so that the bottom is what comes next."""
        if not self._seen():
            return self._falls
        ahead, level = self._answers.run(), self._follower.track.level()
        change = ahead.level_c(_HEADING_S) - level
        if abs(change) > _HEADING_C:
            self._falls = change < 0.0
        return self._falls

    def outlook(self, elapsed_s: float, target_c: float, edge: str, to: str) -> tuple[Outlook, ...]:
        """Return what the other ways that are known would give; never holds against the brakes."""
        phase = self._follower.context.phase
        if not self._seen():
            return ()
        before = self._outlook
        fresh = before is not None and before[1] == target_c and before[2] is phase
        if before is not None and fresh and elapsed_s - before[0] < _OUTLOOK_AGAIN_S:
            return before[3]
        falling = (edge == "high") == (to == "enter")
        target = self._follower.track.target_level(target_c, edge == "high")
        found = tuple(self._other(way, target, falling) for way in self._other_ways())
        self._outlook = (elapsed_s, target_c, phase, found)
        return found

    def rest(self) -> Rest | None:
        """Return what the fluid does from the last reading on, with the engine off."""
        track = self._follower.track
        if not track.times:
            return None
        return Rest(track.now_s, self._follower.ahead(Doing({Phase.OFF: 1.0})))

    def _seen(self) -> bool:
        track = self._follower.track
        broken = 0.0 <= track.now_s - track.broken_s < _SETTLE_S
        return track.value is not None and not broken and track.seen_s >= LEAST_SEEN_S

    def _settles(
        self, chance: float, falling: bool, level: float, target: float, rate: float
    ) -> float | None:
        """Return where the fluid ends short of the target, once most of the way was seen."""
        track, phase = self._follower.track, self._follower.context.phase
        since_s = max(track.broken_s, track.start_s, self._follower.context.way_since_s)
        lately = track.now_s - since_s < _LEVELS_SEEN_S
        if chance > _LEVELS_CHANCE or phase is Phase.OFF or lately:
            return None
        half_step = 0.5 * track.quantum_c
        if falling:
            if rate < -_SETTLING_K_PER_S:
                return None
            end = self._answers.run().end_c
            if rate >= -_FALLING_K_PER_S:  # it stands: what members think comes later is no level
                end = max(end, level)
            return round(end, 1) if target + half_step < end <= level else None
        end = self._answers.run().end_below_c(target)
        gain, climb = end - level, level - min(track.levels)
        if rate < -_FALLING_K_PER_S or gain < -_MOST_AHEAD_C or end > target - half_step:
            return None
        far = gain > max(_MOST_AHEAD * climb, _MOST_AHEAD_C)
        return None if far else round(max(end, level), 1)

    def _basis(self) -> Reason:
        """Return what the forecast rests on most."""
        track, context = self._follower.track, self._follower.context
        way_s = track.now_s - context.way_since_s
        level = track.level()
        moved = abs(level - track.at(context.way_since_s, level))
        if way_s >= _OWN_S or moved >= _OWN_STEPS * max(track.quantum_c, 0.5):
            return Reason("own-pace", {"way_s": float(round(way_s))})
        if context.spent_s[context.phase] - way_s >= _SPELL_S:
            return Reason("earlier-spell")
        if self._prior is not None and self._prior.knows(context.phase):
            return Reason("records", {"runs": float(self._prior.runs)})
        return Reason("typical")

    def _other_ways(self) -> list[Phase]:
        context, prior = self._follower.context, self._prior
        ways = []
        for way in (Phase.IDLE, Phase.DRIVING, Phase.OFF):
            here = context.phase is way or (way is Phase.DRIVING and context.in_drive)
            seen = context.spent_s[way] >= _SPELL_S or way is Phase.OFF
            if not here and (seen or (prior is not None and prior.knows(way))):
                ways.append(way)
        return ways if context.phase is not Phase.UNKNOWN else []

    def _other(self, way: Phase, target: float, falling: bool) -> Outlook:
        doing = self._follower.context.other(way)
        members = members_of(self._follower.ahead(doing), target, falling, way)
        chance = round(members.ever if falling else members.lasting, 3)
        if members.ever < GIVEN_CHANCE:
            return Outlook(way, None, None, None, chance)
        q10, q50, q90 = (round(t, 1) for t in (members.q10, members.q50, members.q90))
        return Outlook(way, q10, q50, q90, chance)
