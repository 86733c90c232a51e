"""Time until an edge of the band is reached or left, with quantiles."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, log

import numpy as np

from warmwatch.core.forecast.candidates import Members, features
from warmwatch.core.forecast.correction import learned
from warmwatch.core.forecast.ensemble import Ahead, Doing
from warmwatch.core.forecast.follower import Beside, Follower
from warmwatch.core.forecast.prior import Point, Prior, ensemble_of, learned_from, spent, teaches
from warmwatch.core.phase import Phase
from warmwatch.core.reason import Reason

__all__ = ["Forecast", "Forecaster", "Outlook", "Prior", "Rest"]

WITHIN_S = 3600.0
"""`chance` of a rise is that of reaching the edge within so many seconds; of a fall, three times
as many: cooling takes longer, and nothing is lost by waiting."""
LEAST_SEEN_S = 20.0
"""Before so much was seen nothing is said."""
_SETTLE_S = 10.0
"""After a break in the path nothing is said for so long: the first rows may repeat an old value."""
_RATE_WINDOW_S = 120.0
_AGAIN_S = 20.0  # the members are run ahead again after so long
_SOONER_S = 4.0  # or so long, where a step was crossed
_OUTLOOK_AGAIN_S = 60.0
_EASE_S, _EASE_SHARE = 20.0, 0.06  # memory of the figures: so long, and that share of what is left
_EASE_GAP_S = 25.0  # asked more rarely, every forecast stands alone
_MOST_QUESTIONS = 8
_GIVEN_CHANCE, _KEPT_CHANCE = 0.1, 0.07  # from here times are given, and below this no more
_LEAST_REACHING = 4  # members, for quantiles to mean something
_LEVELS_CHANCE = 0.5  # above this nothing is said about where it settles
_LEVELS_SEEN_S = 120.0
_MOST_AHEAD, _MOST_AHEAD_C = 0.5, 3.0  # of the climb so far: with more ahead the end is a guess
_FALLING_K_PER_S = 0.15 / 60.0
_TRIP_MEAN_S = 3200.0  # half of the invented trips are shorter than 37 min
_OWN_STEPS, _OWN_S, _SPELL_S = 2, 180.0, 60.0
_OWN_FULL_S = 900.0
_HEADING_S, _HEADING_C = 300.0, 0.3

Logs = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Forecast:
    """When the fluid reaches an edge, counted from `elapsed_s`.

    `edge` is the edge concerned, "low" or "high"; `to` says whether the band is entered there
    ("enter") or left ("leave"). The quantiles are those of the time in case it is reached; all are
    None where that is unlikely. `chance` is the probability that it is reached at the present way:
    warming within an hour (a drive ends some time), cooling within three. `level_c` is where the
    fluid settles short of the edge, None while that cannot be said. `rate_c_per_min` is the
    present rate. `basis` says what the forecast rests on.
    """

    elapsed_s: float
    edge: str
    q10_s: float | None
    q50_s: float | None
    q90_s: float | None
    chance: float
    level_c: float | None
    rate_c_per_min: float
    to: str = "enter"
    basis: Reason | None = None

    @property
    def falling(self) -> bool:
        """Whether the edge is reached by cooling."""
        return (self.edge == "high") == (self.to == "enter")


@dataclass(frozen=True, slots=True)
class Outlook:
    """The forecast for another way than the present one; times as in `Forecast`."""

    way: Phase
    q10_s: float | None
    q50_s: float | None
    q90_s: float | None
    chance: float


@dataclass(frozen=True, slots=True)
class Rest:
    """What the fluid probably does with the engine off; reckoned, never to be used as a reading."""

    since_s: float
    ahead: Ahead

    def fluid_c(self, elapsed_s: float) -> float:
        """Return what it has probably cooled to, degC."""
        return round(self.ahead.level_c(elapsed_s - self.since_s), 1)

    def look_s(self, target_c: float) -> float | None:
        """Return when it is worth switching on: one in four is there; None for never."""
        times = np.sort(self.ahead.reach_s(target_c, falling=True))
        first = float(times[len(times) // 4])
        return round(self.since_s + first, 1) if np.isfinite(first) else None


@dataclass(slots=True)
class _Answer:
    """The last answer to one question, to be counted down until the members are run again."""

    at_s: float
    edges: int
    way: Phase
    logs: Logs
    ever: float
    chance: float
    given: bool


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
        self._follower = Follower(ensemble_of(prior))
        self._ahead: tuple[float, int, Doing, Ahead] | None = None
        self._answers: dict[tuple[float, bool], _Answer] = {}
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
        self._answers.clear()
        self._ahead = self._outlook = None

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
        answer = self._answer(target, falling, level)
        waited = elapsed_s - answer.at_s
        times = [round(max(exp(x) - waited, 0.0), 1) for x in answer.logs]
        q10, q50, q90 = times if answer.given else (None,) * 3
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
        ahead, level = self._run(), self._follower.track.level()
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

    def _run(self) -> Ahead:
        """Return the members run ahead at the present way, anew where something happened."""
        track, doing = self._follower.track, self._follower.context.ahead()
        if self._ahead is not None:
            at_s, edges, was, ahead = self._ahead
            age_s = track.now_s - at_s
            due_s = _SOONER_S if edges != track.edges else _AGAIN_S
            if was.alike(doing) and 0.0 <= age_s < due_s:
                return ahead
        ahead = self._follower.ahead(doing)
        self._ahead = (track.now_s, track.edges, doing, ahead)
        return ahead

    def _answer(self, target: float, falling: bool, level: float) -> _Answer:
        track, ahead = self._follower.track, self._run()
        run_s = self._ahead[0] if self._ahead else track.now_s
        before = self._answers.get((target, falling))
        if before is not None and before.at_s == run_s:
            return before
        members = _members(ahead, target, falling, self._follower.context.phase)
        sign = -1.0 if falling else 1.0
        context = self._follower.context
        found = features(track, context, level, target, sign, members)
        low, middle, high = learned().answer(found)
        base = log(members.q50) - self._doubt() * middle
        logs = (base + low, base + middle, base + high)
        way = context.phase
        late = before is None or run_s - before.at_s > _EASE_GAP_S
        if before is not None and not late and before.way is way and before.given:
            logs = _eased(logs, before.logs, run_s - before.at_s)
        kept = before is not None and before.given
        given = members.ever >= (_KEPT_CHANCE if kept else _GIVEN_CHANCE)
        chance = members.ever if falling else members.lasting
        answer = _Answer(run_s, track.edges, way, logs, members.ever, chance, given)
        if len(self._answers) >= _MOST_QUESTIONS and (target, falling) not in self._answers:
            self._answers.clear()
        self._answers[target, falling] = answer
        return answer

    def _doubt(self) -> float:
        """Return how much of the correction's shift is not believed, 0..1.

        It knows typical vehicles; where records tell of this one, it shifts only what has shown.
        """
        context = self._follower.context
        if self._prior is None or not self._prior.knows(context.phase):
            return 0.0
        return max(1.0 - (self._follower.track.now_s - context.way_since_s) / _OWN_FULL_S, 0.0)

    def _settles(
        self, chance: float, falling: bool, level: float, target: float, rate: float
    ) -> float | None:
        """Return where the fluid ends short of the target, once most of the way was seen."""
        track, phase = self._follower.track, self._follower.context.phase
        lately = track.now_s - max(track.broken_s, track.start_s) < _LEVELS_SEEN_S
        if chance > _LEVELS_CHANCE or phase is Phase.OFF or lately:
            return None
        end = self._run().end_c
        half_step = 0.5 * track.quantum_c
        if falling:
            return round(end, 1) if target + half_step < end <= level else None
        gain, climb = end - level, level - min(track.levels)
        if rate < -_FALLING_K_PER_S or gain < 0.0 or end > target - half_step:
            return None
        return None if gain > max(_MOST_AHEAD * climb, _MOST_AHEAD_C) else round(end, 1)

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
        members = _members(self._follower.ahead(doing), target, falling, way)
        chance = round(members.ever if falling else members.lasting, 3)
        if members.ever < _GIVEN_CHANCE:
            return Outlook(way, None, None, None, chance)
        q10, q50, q90 = (round(t, 1) for t in (members.q10, members.q50, members.q90))
        return Outlook(way, q10, q50, q90, chance)


def _members(ahead: Ahead, target: float, falling: bool, phase: Phase) -> Members:
    """Return the quantiles of the members that reach the target, and how many do."""
    times = np.sort(ahead.reach_s(target, falling=falling))
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
    ease_s = min(_EASE_S, _EASE_SHARE * exp(logs[1]))
    keep = ease_s / (ease_s + passed_s)
    low, middle, high = (
        new + keep * (log(max(exp(was) - passed_s, 0.5)) - new)
        for new, was in zip(logs, before, strict=True)
    )
    return low, middle, high


def learn(runs: Iterable[Sequence[Point]]) -> Prior:
    """Return what recordings of one vehicle teach; each is its good readings in order.

    Runs in which the fluid hardly moves teach nothing. Without any run the prior is empty and
    changes no forecast.
    """
    prior = Prior((), (), 0, {})
    told = [points for points in runs if teaches(points)]
    for i, points in enumerate(told, 1):
        forecaster = Forecaster(prior)
        for point in points:
            forecaster.update(
                point.elapsed_s,
                point.fluid_c,
                phase=point.phase,
                coolant_c=point.coolant_c,
                ambient_c=point.ambient_c,
                engine_rpm=point.engine_rpm,
                speed_kmh=point.speed_kmh,
            )
        prior = forecaster.learned(i, spent(told[:i]))
    return prior
