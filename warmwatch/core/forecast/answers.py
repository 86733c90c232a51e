"""The times to one temperature, asked of the members, corrected, and led on between two runs."""

from dataclasses import dataclass
from math import exp, log

import numpy as np

from warmwatch.core.forecast.candidates import Members, features
from warmwatch.core.forecast.correction import learned
from warmwatch.core.forecast.ensemble import Ahead, Doing
from warmwatch.core.forecast.follower import Follower
from warmwatch.core.forecast.prior import Prior
from warmwatch.core.phase import Phase

WITHIN_S = 3600.0
"""`chance` of a rise is that of reaching the edge within so many seconds; of a fall, three times
as many: cooling takes longer, and nothing is lost by waiting."""
GIVEN_CHANCE = 0.1
"""From here on times are given."""
_KEPT_CHANCE = 0.07  # and below this no more
_AGAIN_S = 20.0  # the members are run ahead again after so long
_SOONER_S = 4.0  # or so long, where a step was crossed
_EASE_S, _EASE_SHARE = 20.0, 0.06  # memory of the figures: so long, and that share of what is left
_EASE_GAP_S = 25.0  # asked more rarely, every forecast stands alone
_MOST_QUESTIONS = 8
_LEAST_REACHING = 4  # members, for quantiles to mean something
_TRIP_MEAN_S = 3200.0  # half of the invented trips are shorter than 37 min
_OWN_FULL_S = 900.0
_TURN_S = 60.0  # a fluid that moves away is not back sooner than this
_MOVES_K_PER_S, _MOVES_SPAN_S, _MOVES_LEAST_S = 0.3 / 60.0, 120.0, 45.0
_FALL_SPAN_S = 600.0

Logs = tuple[float, float, float]


@dataclass(slots=True)
class Answer:
    """The last answer to one question, to be counted down until the members are run again.

    `logs` are those of the three times in s from `at_s` on, `chance` that of `Forecast`; `given`
    says whether the times are likely enough to be told.
    """

    at_s: float
    way: Phase
    logs: Logs
    chance: float
    given: bool

    def times(self, now_s: float) -> tuple[float, float, float]:
        """Return what is left of the three times, s."""
        low, middle, high = (round(max(exp(x) - (now_s - self.at_s), 0.0), 1) for x in self.logs)
        return low, middle, high


class Answers:
    """Runs the members ahead where something happened, and remembers what was said."""

    def __init__(self, follower: Follower, prior: Prior | None) -> None:
        self._follower, self._prior = follower, prior
        self._ahead: tuple[float, int, Doing, Ahead] | None = None
        self._said: dict[tuple[float, bool], Answer] = {}

    def forget(self) -> None:
        """Continuity was lost: nothing that was said holds on."""
        self._said.clear()
        self._ahead = None

    def run(self) -> Ahead:
        """Return the members run ahead at the present way, anew where something happened."""
        return self._run()[1]

    def _run(self) -> tuple[float, Ahead]:
        track, doing = self._follower.track, self._follower.context.ahead()
        if self._ahead is not None:
            at_s, edges, was, ahead = self._ahead
            age_s = track.now_s - at_s
            due_s = _SOONER_S if edges != track.edges else _AGAIN_S
            if was.alike(doing) and 0.0 <= age_s < due_s:
                return at_s, ahead
        ahead = self._follower.ahead(doing)
        self._ahead = (track.now_s, track.edges, doing, ahead)
        return track.now_s, ahead

    def to(self, target: float, falling: bool, level: float) -> Answer:
        """Return the answer for a level of readings; `level` is where the fluid stands."""
        run_s, ahead = self._run()
        before = self._said.get((target, falling))
        if before is not None and before.at_s == run_s:
            return before
        if before is None and len(self._said) >= _MOST_QUESTIONS:
            self._said.clear()
        answer = self._anew(ahead, run_s, target, falling, level, before)
        self._said[target, falling] = answer
        return answer

    def _anew(
        self,
        ahead: Ahead,
        run_s: float,
        target: float,
        falling: bool,
        level: float,
        before: Answer | None,
    ) -> Answer:
        context, sign = self._follower.context, -1.0 if falling else 1.0
        away = self._rate(level, sign, _MOVES_SPAN_S) <= -_MOVES_K_PER_S
        members = members_of(ahead, target, falling, context.phase, away=away)
        found = features(self._follower.track, context, level, target, sign, members)
        low, middle, high = learned().answer(found)
        base = log(members.q50) - self._doubt() * middle
        logs = (base + low, base + middle, base + high)
        kept = before is not None and before.given
        if before is not None and kept and before.way is context.phase:
            logs = _eased(logs, before.logs, run_s - before.at_s)
        chance = min(learned().chance(found), self._most(members, target, falling, level))
        given = max(members.ever, chance) >= (_KEPT_CHANCE if kept else GIVEN_CHANCE)
        return Answer(run_s, context.phase, logs, chance, given)

    def _most(self, members: Members, target: float, falling: bool, level: float) -> float:
        """Return what bounds the learned chance: the members, where they do not believe too little.

        They believe too much of a rise, but too little of holds, and of a fall that is seen.
        """
        context = self._follower.context
        if not falling:
            return 1.0 if context.held_now else members.lasting
        air_c = context.ambient.now
        hopeless = air_c is not None and air_c > target
        return members.ever if hopeless or self._rate(level, -1.0, _FALL_SPAN_S) <= 0.0 else 1.0

    def _rate(self, level: float, sign: float, span_s: float) -> float:
        """Return the rate towards the target at this way, over at most `span_s`; 0 at first."""
        track, context = self._follower.track, self._follower.context
        since_s = max(track.broken_s, context.phase_since_s, track.now_s - span_s)
        passed_s = track.now_s - since_s
        if passed_s < _MOVES_LEAST_S:
            return 0.0
        return sign * (level - track.at(since_s, level)) / passed_s

    def _doubt(self) -> float:
        """Return how much of the correction's shift is not believed, 0..1.

        It knows typical vehicles; where records tell of this one, it shifts only what has shown.
        """
        context = self._follower.context
        if self._prior is None or not self._prior.knows(context.phase):
            return 0.0
        return max(1.0 - (self._follower.track.now_s - context.way_since_s) / _OWN_FULL_S, 0.0)


def members_of(
    ahead: Ahead, target: float, falling: bool, phase: Phase, *, away: bool = False
) -> Members:
    """Return the quantiles of the members that reach the target, and how many do.

    Where the fluid moves `away` from it, members that would be there at once say nothing of it.
    """
    times = ahead.reach_s(target, falling=falling)
    if away:
        times = np.where((times > 0.0) & (times < _TURN_S), np.inf, times)
    times = np.sort(times)
    reaching = int(np.isfinite(times).sum())
    some = times[:reaching]
    soon = some[some <= WITHIN_S]
    within = lasting = len(soon) / len(times)
    if phase is Phase.DRIVING:
        lasting = float(np.exp(-soon / _TRIP_MEAN_S).sum()) / len(times)
    shares = (reaching / len(times), within, lasting)
    if reaching <= _LEAST_REACHING:
        return Members(5000.0, 9000.0, 10800.0, *shares)
    q10, q50, q90 = (max(float(q), 1.0) for q in np.quantile(some, (0.1, 0.5, 0.9)))
    return Members(q10, q50, q90, *shares)


def _eased(logs: Logs, before: Logs, passed_s: float) -> Logs:
    """Return the log times led on from the last ones, so that the figures do not jump about."""
    if passed_s > _EASE_GAP_S:
        return logs
    ease_s = min(_EASE_S, _EASE_SHARE * exp(logs[1]))
    keep = ease_s / (ease_s + passed_s)
    low, middle, high = (
        new + keep * (log(max(exp(was) - passed_s, 0.5)) - new)
        for new, was in zip(logs, before, strict=True)
    )
    return low, middle, high
