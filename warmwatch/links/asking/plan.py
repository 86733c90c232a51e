"""What to ask in each poll, learned from what was answered before. No I/O and no clock.

The fluid is asked first. Several identifiers go into one request where their sizes are known; a
unit that does not take that is asked for one at a time from then on. What was answered once is
never given up.
"""

from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import replace

from warmwatch.core.notice import Notice
from warmwatch.core.reason import Reason
from warmwatch.links.asking.conduct import Conducts
from warmwatch.links.asking.question import Question
from warmwatch.links.asking.request import Request, RequestOutcome
from warmwatch.links.asking.sessions import Sessions
from warmwatch.links.asking.survey import Asking
from warmwatch.links.asking.units import Unit
from warmwatch.links.live import Polled, Values
from warmwatch.signals import decode, obd, uds
from warmwatch.signals.answers import Conduct, split_records

SLOW_EVERY = 5
"""The slow quantities are asked in every fifth poll."""
BUSY_REPEATS = 3
BUSY_DELAY_S = 0.1
SPEED = "speed_kmh"
BROKEN = str(Reason("broken-answer"))

NO_FLUID = (
    "This link has no transmission fluid temperature: no standard identifier gives it. Name the "
    "vehicle's own with signals=FILE.toml, or search for it with `warmwatch link ADDRESS "
    "--find-temperature`."
)


def _never() -> bool:
    return False


class Plan:
    """The polls of one opened port: drive `cycle`, then `take` what came of it.

    `room` is how many bytes of payload one frame holds (7, or 6 with extended addressing): a
    request is never longer, so that nothing but single frames is sent. `everybody` is the unit to
    ask where no address reaches all. `extended`: the user agreed to the extended session where a
    signal needs it.
    """

    def __init__(
        self,
        asked: Sequence[Question],
        room: int = 7,
        everybody: Unit | None = None,
        *,
        extended: bool = False,
    ) -> None:
        self._asked = asked
        self._room = room
        self._all = everybody
        self._singles: set[tuple[Unit | None, int]] = set()
        self._via_all: set[Unit] = set()
        self._not_deaf: set[Unit] = set()
        self._waiting: list[Question] = []
        self._values: dict[str, float] = {}
        self._doubts: dict[str, str] = {}
        self._raw: list[str] = []
        self._cycles = 0
        self._heard = False
        self._conducts = Conducts(asked)
        self._sessions = Sessions(asked, agreed=extended)
        self.silent_cycles = 0
        self.silent_since_s = 0.0
        if not any(question.is_fluid for question in asked):
            self._conducts.notices.append(Notice(NO_FLUID, alarm=True))

    @property
    def has_values(self) -> bool:
        """True when `take` would return a value."""
        return bool(self._values or self._doubts)

    def take(self) -> list[Polled]:
        """Return what was answered since the last call, each value once, and the notices."""
        polled: list[Polled] = [*self._conducts.notices, *self._sessions.notices]
        if self.has_values:
            polled.append(Values(self._values, self._doubts, " ".join(self._raw)))
        self._values, self._doubts, self._raw = {}, {}, []
        self._conducts.notices.clear()
        self._sessions.notices.clear()
        return polled

    def cycle(self, now_s: float, late: Callable[[], bool] = _never) -> Asking:
        """Ask once for what is due; `now_s` is on the clock that paces the polls.

        When `late` says so, what is left waits for the next cycle, where the fluid comes first
        again; at least one other request is made.
        """
        due = list(self._due(now_s))
        self._cycles += 1
        self._heard = False
        self._waiting += [question for question in due if question not in self._waiting]
        groups = sorted(self._groups(self._waiting), key=lambda group: not _with_fluid(group))
        others = 0
        for whole in groups:
            self._waiting = [question for question in self._waiting if question not in whole]
            group = [question for question in whole if not question.stopped]  # meanwhile
            if group:
                yield from self._work(group, now_s)
            others += not _with_fluid(group)
            if others and late():
                break
        yield from self._sessions.left_when_moving(now_s)
        if self._heard or self.silent_cycles == 0:
            self.silent_since_s = now_s
        if self._heard:
            self.silent_cycles = 0
        elif due:
            self.silent_cycles += 1

    def _due(self, now_s: float) -> Iterator[Question]:
        slow_too = self._cycles % SLOW_EVERY == 0
        for question in self._asked:
            ready = not question.stopped and now_s >= question.retry_s
            if ready and (slow_too or not question.slow):
                yield question

    def _groups(self, due: Sequence[Question]) -> Iterator[list[Question]]:
        together: dict[tuple[Unit | None, int], list[Question]] = {}
        for question in due:
            key = (question.unit, question.service)
            alone = question.service == uds.LOCAL_SERVICE or question.extended
            if question.record_length is None or alone or key in self._singles:
                yield [question]
                continue
            together.setdefault(key, []).append(question)
        for (_, service), members in together.items():
            width = 2 if service == uds.SERVICE else 1
            most = max(1, min((self._room - 1) // width, obd.MAX_PIDS))
            for at in range(0, len(members), most):
                yield members[at : at + most]

    def _work(self, group: Sequence[Question], now_s: float) -> Asking:
        """Ask for a group, and then one by one for what stayed open."""
        if not (yield from self._sessions.entered(group[0], now_s)):
            return
        left = yield from self._ask(group, now_s)
        if len(group) == 1:
            return
        for question in left:
            # The refusal of one may have stopped the others.
            if not question.stopped and not (yield from self._ask([question], now_s)):
                self._singles.add((question.unit, question.service))

    def _ask(
        self, group: Sequence[Question], now_s: float
    ) -> Generator[Request, RequestOutcome, list[Question]]:
        """Ask for a group and return the questions that stay open."""
        request = self._request(group)
        outcome = yield request
        for _ in range(BUSY_REPEATS):
            if not _conduct(outcome, Conduct.REPEAT):
                break
            outcome = yield replace(request, delay_s=BUSY_DELAY_S)
        if _conduct(outcome, Conduct.DEFAULT_SESSION):
            unit = min(outcome.refusals)
            if group[0].extended:
                self._sessions.fallen_back(unit)
                if (yield from self._sessions.entered(group[0], now_s)):
                    outcome = yield request
            elif self._conducts.may_leave_session(unit, group, now_s):
                service, session = uds.DEFAULT_SESSION
                yield Request(service, (session,), unit)
                outcome = yield request
        if outcome.silent and (unit_deaf := self._perhaps_deaf(group[0])) is not None:
            outcome = yield from self._through_all(unit_deaf, group)
        self._heard = self._heard or not outcome.silent
        self._not_deaf |= outcome.spoke
        self._conducts.heard |= outcome.spoke
        left = self._read(group, outcome, now_s)
        if len(group) == 1 and left and not outcome.answers.keys() & _asked_of(group[0], outcome):
            self._conducts.unanswered(group[0], outcome, now_s)
        return left

    def _through_all(
        self, unit: Unit, group: Sequence[Question]
    ) -> Generator[Request, RequestOutcome, RequestOutcome]:
        """Ask a silent unit once by the address of all: it may heed only that one."""
        self._via_all.add(unit)
        outcome = yield self._request(group)
        if unit not in outcome.spoke:  # another one's answer says nothing about this one
            self._via_all.discard(unit)
            self._not_deaf.add(unit)
            return RequestOutcome()
        return outcome

    def _request(self, group: Sequence[Question]) -> Request:
        unit = group[0].unit
        asked = self._all if unit in self._via_all else unit
        identifiers = tuple(question.identifier for question in group)
        expected = frozenset({unit}) if unit is not None and asked is None else frozenset()
        return Request(
            group[0].service,
            identifiers,
            asked,
            patient=self.silent_cycles == 0 and self._conducts.patient(group),
            expected=expected,
        )

    def _perhaps_deaf(self, question: Question) -> Unit | None:
        """Return the unit if it may heed only the address of all: it never answered alone."""
        unit = question.unit
        if unit is None or question.named or self._all is not None:
            return None
        return None if unit in self._via_all | self._not_deaf else unit

    def _read(
        self, group: Sequence[Question], outcome: RequestOutcome, now_s: float
    ) -> list[Question]:
        lengths = {question.identifier: question.record_length for question in group}
        width = 2 if group[0].service == uds.SERVICE else 1
        open_: dict[int, Question] = {question.identifier: question for question in group}
        asked = group[0].unit
        for unit, payload in sorted(outcome.answers.items()):
            if asked not in (None, unit):
                continue
            try:
                records = split_records(payload, group[0].service, width, lengths)
            except ValueError:
                self._broken(group, unit, payload)
                continue
            for identifier, record in records.items():
                question = open_.pop(identifier, None)
                if question is None:
                    self._conducts.second_answer(group, identifier, unit, now_s)
                else:
                    self._conducts.answered(question, unit, now_s)
                    self._decode(question, unit, payload, record, now_s)
        return list(open_.values())

    def _decode(
        self, question: Question, unit: Unit, payload: bytes, record: bytes, now_s: float
    ) -> None:
        for signal in question.signals:
            decoded = decode(signal, record)
            if decoded.value is not None:
                self._values[signal.name] = decoded.value
                if signal.name == SPEED and not decoded.doubt:
                    self._sessions.note_speed(decoded.value, now_s)
                self._doubts.pop(signal.name, None)
            if decoded.doubt:
                self._doubts[signal.name] = decoded.doubt
        self._keep_raw(question, unit, payload)

    def _keep_raw(self, question: Question, unit: Unit, payload: bytes) -> None:
        if question.is_fluid:
            self._raw.append(f"{unit.label} {payload.hex().upper()}")

    def _broken(self, group: Sequence[Question], unit: Unit, payload: bytes) -> None:
        if len(group) > 1:
            return  # the sizes may be wrong for the group only; each is asked alone next
        for signal in group[0].signals:
            self._doubts[signal.name] = BROKEN
        self._keep_raw(group[0], unit, payload)


def _with_fluid(group: Sequence[Question]) -> bool:
    return any(question.is_fluid for question in group)


def _asked_of(question: Question, outcome: RequestOutcome) -> frozenset[Unit]:
    """Return the units whose answer would be this question's."""
    return outcome.spoke if question.unit is None else frozenset({question.unit})


def _conduct(outcome: RequestOutcome, conduct: Conduct) -> bool:
    """True when nothing was answered and somebody refused in this way."""
    return not outcome.answers and any(r.conduct is conduct for r in outcome.refusals.values())
