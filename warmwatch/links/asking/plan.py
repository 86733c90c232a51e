"""What to ask in each poll, learnt from what was answered before. No I/O and no clock.

Several identifiers go into one request where their sizes are known; a unit that does not take
that is asked for one at a time from then on. A refusal is told once and heeded.
"""

from collections.abc import Generator, Iterator, Sequence
from dataclasses import replace

from warmwatch.core.notice import Notice
from warmwatch.links.asking.question import Question
from warmwatch.links.asking.request import Outcome, Request
from warmwatch.links.asking.survey import Asking
from warmwatch.links.asking.units import Unit
from warmwatch.links.live import Polled, Values
from warmwatch.signals import decode, obd, uds
from warmwatch.signals.answers import Conduct, Refusal, split_records

SLOW_EVERY = 5
"""The slow quantities are asked in every fifth poll."""
FLUID_RETRY_S, RETRY_S = 2.0, 30.0
"""When an identifier that was silent or refused for now is asked again."""
SILENT_POLLS = 2
_MAY_CHANGE = (Conduct.STOP_IDENTIFIER, Conduct.DEFAULT_SESSION)
BUSY_REPEATS = 3
BUSY_DELAY_S = 0.1

NO_FLUID = (
    "This link has no transmission fluid temperature: no standard identifier gives it. Name the "
    "vehicle's own with signals=FILE.toml, or search for it with `warmwatch link ADDRESS "
    "--find-temperature`."
)


class Plan:
    """The polls of one opened port: drive `cycle`, then `take` what came of it.

    `room` is how many bytes of payload one frame holds (7, or 6 with extended addressing): a
    request is never longer, so that nothing but single frames is sent. `everybody` is the unit to
    ask where no address reaches all.
    """

    def __init__(
        self, asked: Sequence[Question], room: int = 7, everybody: Unit | None = None
    ) -> None:
        self._asked = asked
        self._room = room
        self._all = everybody
        self._singles: set[tuple[Unit | None, int]] = set()
        self._via_all: set[Unit] = set()
        self._proven: set[Unit] = set()
        self._default_session: set[Unit] = set()
        self._values: dict[str, float] = {}
        self._doubts: dict[str, str] = {}
        self._raw: list[str] = []
        self._notices: list[Notice] = []
        self._cycles = 0
        self._heard = self._heard_ever = False
        self.silent_cycles = 0
        self.silent_since_s = 0.0
        if not any(question.is_fluid for question in asked):
            self._notices.append(Notice(NO_FLUID, alarm=True))

    def take(self) -> list[Polled]:
        """Return what was answered since the last call, each value once, and the notices."""
        polled: list[Polled] = list(self._notices)
        if self._values or self._doubts:
            polled.append(Values(self._values, self._doubts, " ".join(self._raw)))
        self._values, self._doubts, self._raw, self._notices = {}, {}, [], []
        return polled

    def cycle(self, now_s: float) -> Asking:
        """Ask once for what is due; `now_s` is on the clock that paces the polls."""
        due = list(self._due(now_s))
        self._cycles += 1
        self._heard = False
        for group in self._groups(due):
            left = yield from self._ask(group, now_s)
            if len(group) > 1 and left:
                yield from self._one_by_one(left, now_s)
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
            if question.record_length is None or key in self._singles:
                yield [question]
                continue
            together.setdefault(key, []).append(question)
        for (_, service), members in together.items():
            width = 2 if service == uds.SERVICE else 1
            most = min((self._room - 1) // width, obd.MAX_PIDS)
            for at in range(0, len(members), most):
                yield members[at : at + most]

    def _one_by_one(self, left: Sequence[Question], now_s: float) -> Asking:
        for question in left:
            # The refusal of one may have stopped the others.
            if not question.stopped and not (yield from self._ask([question], now_s)):
                self._singles.add((question.unit, question.service))

    def _ask(
        self, group: Sequence[Question], now_s: float
    ) -> Generator[Request, Outcome, list[Question]]:
        """Ask for a group and return the questions that stay open."""
        request = self._request(group)
        outcome = yield request
        for _ in range(BUSY_REPEATS):
            if not _conduct(outcome, Conduct.REPEAT):
                break
            outcome = yield replace(request, delay_s=BUSY_DELAY_S)
        if _conduct(outcome, Conduct.DEFAULT_SESSION) and self._may_leave_session(outcome):
            service, session = uds.DEFAULT_SESSION
            yield Request(service, (session,), min(outcome.refusals))
            outcome = yield request
        if outcome.silent and (unit := self._perhaps_deaf(group[0])) is not None:
            self._via_all.add(unit)
            outcome = yield self._request(group)
            if outcome.silent:
                self._via_all.discard(unit)
        self._hear(outcome)
        left = self._read(group, outcome)
        for question in left:
            if len(group) == 1:
                self._unanswered(question, outcome, now_s)
        return left

    def _hear(self, outcome: Outcome) -> None:
        if not outcome.silent:
            self._heard = self._heard_ever = True
            self._proven |= outcome.answers.keys() | outcome.refusals.keys()

    def _request(self, group: Sequence[Question]) -> Request:
        unit = group[0].unit
        asked = self._all if unit in self._via_all else unit
        return Request(group[0].service, tuple(q.identifier for q in group), asked)

    def _may_leave_session(self, outcome: Outcome) -> bool:
        new = set(outcome.refusals) - self._default_session
        self._default_session |= new
        return bool(new)

    def _read(self, group: Sequence[Question], outcome: Outcome) -> list[Question]:
        lengths = {question.identifier: question.record_length for question in group}
        width = 2 if group[0].service == uds.SERVICE else 1
        open_: dict[int, Question] = {question.identifier: question for question in group}
        asked = group[0].unit
        for unit, payload in sorted(outcome.answers.items()):
            if asked not in (None, unit):
                continue
            try:
                records = split_records(payload, group[0].service, width, lengths)
            except ValueError as error:
                self._broken(group, unit, payload, str(error))
                continue
            for identifier, record in records.items():
                question = open_.pop(identifier, None)
                if question is None:
                    self._second_answer(group, identifier, unit)
                else:
                    self._decode(question, unit, payload, record)
        return list(open_.values())

    def _decode(self, question: Question, unit: Unit, payload: bytes, record: bytes) -> None:
        question.answered, question.silent = True, 0
        if question.unit is None:
            question.unit = unit
        for signal in question.signals:
            decoded = decode(signal, record)
            if decoded.value is not None:
                self._values[signal.name] = decoded.value
                self._doubts.pop(signal.name, None)
            if decoded.doubt:
                self._doubts[signal.name] = decoded.doubt
        self._keep_raw(question, unit, payload)

    def _keep_raw(self, question: Question, unit: Unit, payload: bytes) -> None:
        if question.is_fluid:
            self._raw.append(f"{unit.label} {payload.hex().upper()}")

    def _broken(self, group: Sequence[Question], unit: Unit, payload: bytes, why: str) -> None:
        if len(group) > 1:
            return  # the sizes may be wrong for the group only; each is asked alone next
        for signal in group[0].signals:
            self._doubts[signal.name] = f"broken answer: {why}"
        self._keep_raw(group[0], unit, payload)

    def _second_answer(self, group: Sequence[Question], identifier: int, unit: Unit) -> None:
        for question in group:
            if question.identifier == identifier and question.unit is not None:
                self._tell(
                    question,
                    f"{question.unit.label} and {unit.label} both answer for {question.words}; "
                    f"{question.unit.label} is used. Name the other with target= in the signal "
                    f"file if that is wrong.",
                )

    def _unanswered(self, question: Question, outcome: Outcome, now_s: float) -> None:
        if outcome.answers:
            return  # a broken answer, already told as a doubt
        question.retry_s = now_s
        if outcome.refusals:
            unit = min(outcome.refusals)
            self._refused(question, unit, outcome.refusals[unit], now_s)
            return
        question.silent += 1
        # While nobody at all has spoken, it is the link that is silent, not this identifier.
        if question.silent >= SILENT_POLLS and self._heard_ever:
            self._silent(question, now_s)

    def _perhaps_deaf(self, question: Question) -> Unit | None:
        """Return the unit if it may heed only the address of all: it never answered alone."""
        unit, chosen = question.unit, question.signals[0].target is not None
        if unit is None or chosen or self._all is not None:
            return None
        return None if unit in self._via_all | self._proven else unit

    def _silent(self, question: Question, now_s: float) -> None:
        if question.answered:
            return  # it will come back, or the whole link is lost
        question.retry_s = now_s + (FLUID_RETRY_S if question.is_fluid else RETRY_S)
        self._tell(
            question,
            f"Nothing answers for {question.words}: this vehicle does not offer it there, or the "
            f"ignition is off.",
            alarm=question.is_fluid,
        )

    def _refused(self, question: Question, unit: Unit, refusal: Refusal, now_s: float) -> None:
        now_not = refusal.conduct in (Conduct.LATER, Conduct.WAIT, Conduct.REPEAT)
        # The start of the engine may change what a unit gives: a fluid refused once is no reason
        # to stay blind for the rest of the day.
        rarely = question.is_fluid and refusal.conduct in _MAY_CHANGE
        # When everybody was asked, another unit may still answer: one refusal does not end it.
        later = now_not or rarely or question.unit is None
        soon = question.is_fluid and now_not
        question.retry_s = now_s + (FLUID_RETRY_S if soon else RETRY_S)
        question.stopped = not later
        if refusal.conduct is Conduct.STOP_SERVICE and not later:
            for other in self._asked:
                if (other.unit, other.service) == (question.unit, question.service):
                    other.stopped = True
        text = f"{unit.label} gives no {question.words}: {refusal.words}."
        self._tell(
            question,
            f"{text} {_again(now_not, later)}",
            alarm=question.is_fluid and not now_not,
        )

    def _tell(self, question: Question, text: str, alarm: bool = False) -> None:
        if text not in question.told:
            question.told.add(text)
            self._notices.append(Notice(text, alarm=alarm))


def _again(now_not: bool, later: bool) -> str:
    """Say whether a refused question is asked again."""
    if now_not:
        return "It is asked again later."
    if later:
        return f"It is asked again every {RETRY_S:.0f} s, in case that changes with the engine on."
    return "It is not asked again."


def _conduct(outcome: Outcome, conduct: Conduct) -> bool:
    """True when nothing was answered and somebody refused in this way."""
    return not outcome.answers and any(r.conduct is conduct for r in outcome.refusals.values())
