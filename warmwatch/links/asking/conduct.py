"""What follows from refusals and silence: when to ask again, and what to say. No I/O, no clock.

What was answered before is never given up: it is asked again soon, then with growing pauses.
"""

from collections.abc import Sequence

from warmwatch.core.notice import Notice
from warmwatch.links.asking.patience import LONGER_S
from warmwatch.links.asking.question import Question
from warmwatch.links.asking.request import RequestOutcome
from warmwatch.links.asking.units import Unit
from warmwatch.signals.answers import Conduct, Refusal

FLUID_RETRY_S, RETRY_S = 2.0, 30.0
"""When an identifier that was never answered is asked again."""
FIRST_PAUSE_S, FLUID_PAUSE_S = 0.5, 8.0
"""The first pause after a refusal of what was answered before, and the fluid's longest one."""
SILENT_POLLS = 2
STOPPED_S = 4.0
"""A unit that no longer answers, while others do, is named after this time."""
SESSION_AGAIN_S = 2.0
_NOT_NOW = (Conduct.LATER, Conduct.WAIT, Conduct.REPEAT)


class Conducts:
    """Follows refusals and silences of each unit; `notices` are what there is to say about them."""

    def __init__(self, asked: Sequence[Question]) -> None:
        self._asked = asked
        self._left_session_s: dict[Unit, float] = {}
        self.heard: set[Unit] = set()
        self.notices: list[Notice] = []

    def answered(self, question: Question, unit: Unit, now_s: float) -> None:
        """Take note that `unit` answered."""
        question.answered_s, question.silent, question.refused = now_s, 0, 0
        question.retry_s = now_s
        if question.unit is None:
            question.unit = unit

    def patient(self, group: Sequence[Question]) -> bool:
        """True when the fluid's unit, silent before, is to be waited for longer this time."""
        return any(question.is_fluid and question.silent % 2 for question in group)

    def may_leave_session(self, unit: Unit, group: Sequence[Question], now_s: float) -> bool:
        """True when the default session may be asked for: once, and again after good answers."""
        left_s = self._left_session_s.get(unit)
        answered = any(question.answered_s is not None for question in group)
        if left_s is not None and not (answered and now_s - left_s >= SESSION_AGAIN_S):
            return False
        self._left_session_s[unit] = now_s
        return True

    def unanswered(self, question: Question, outcome: RequestOutcome, now_s: float) -> None:
        """Take note that a question stayed without an answer."""
        question.retry_s = now_s
        refusing = set(outcome.refusals)
        if question.unit is not None:
            refusing &= {question.unit}
        if refusing:
            unit = min(refusing)
            self._refused(question, unit, outcome.refusals[unit], now_s)
            return
        question.silent += 1
        # While nobody at all has spoken, it is the link that is silent, not this identifier.
        if question.silent >= SILENT_POLLS and self.heard:
            self._silent(question, now_s)

    def second_answer(
        self, group: Sequence[Question], identifier: int, unit: Unit, now_s: float
    ) -> None:
        """Say that a second unit answers for the same identifier."""
        for question in group:
            if question.identifier == identifier and question.unit is not None:
                self._tell(
                    question,
                    f"{question.unit.label} and {unit.label} both answer for {question.words}; "
                    f"{question.unit.label} is used. Name the other with target= in the signal "
                    f"file if that is wrong.",
                    now_s,
                )

    def _silent(self, question: Question, now_s: float) -> None:
        if question.answered_s is not None:
            self._stopped_answering(question, now_s)
            return  # it is asked in every poll
        question.retry_s = now_s + (FLUID_RETRY_S if question.is_fluid else RETRY_S)
        waited = f", or the unit takes longer than {LONGER_S:g} s (answer= waits longer)"
        self._tell(
            question,
            f"Nothing answers for {question.words}: this vehicle does not offer it there, or the "
            f"ignition is off{waited if question.is_fluid else ''}.",
            now_s,
            alarm=question.is_fluid,
        )

    def _stopped_answering(self, question: Question, now_s: float) -> None:
        assert question.answered_s is not None
        assert question.unit is not None
        if now_s - question.answered_s >= STOPPED_S:
            self._tell(
                question,
                f"{question.unit.label} no longer answers for {question.words}. It is asked again "
                f"in every poll.",
                now_s,
                alarm=question.is_fluid,
            )

    def _refused(self, question: Question, unit: Unit, refusal: Refusal, now_s: float) -> None:
        if question.answered_s is not None:
            self._refused_after_answers(question, unit, refusal, now_s)
            return
        now_not = refusal.conduct in _NOT_NOW
        # When everybody was asked, another unit may still answer; and the start of the engine may
        # change what a unit gives: the fluid is never given up.
        later = now_not or question.is_fluid or question.unit is None
        question.retry_s = now_s + (FLUID_RETRY_S if question.is_fluid and now_not else RETRY_S)
        question.stopped = not later
        if refusal.conduct is Conduct.STOP_SERVICE and question.unit is not None:
            self._stop_service(question)
        text = f"{unit.label} gives no {question.words}: {refusal.words}."
        self._tell(
            question,
            f"{text} {_again(now_not, later)}",
            now_s,
            alarm=question.is_fluid and not now_not,
        )

    def _refused_after_answers(
        self, question: Question, unit: Unit, refusal: Refusal, now_s: float
    ) -> None:
        longest_s = FLUID_PAUSE_S if question.is_fluid else RETRY_S
        question.retry_s = now_s + min(longest_s, FIRST_PAUSE_S * 2.0**question.refused)
        question.refused = min(question.refused + 1, 10)
        self._tell(
            question,
            f"{unit.label} answered for {question.words} before and now refuses: {refusal.words}. "
            f"It is asked again soon, then with growing pauses of up to {longest_s:g} s.",
            now_s,
        )

    def _stop_service(self, question: Question) -> None:
        """A unit that knows no such service is not asked for it again, but for the fluid."""
        for other in self._asked:
            same = (other.unit, other.service) == (question.unit, question.service)
            if same and other.answered_s is None and not other.is_fluid:
                other.stopped = True

    def _tell(self, question: Question, text: str, now_s: float, alarm: bool = False) -> None:
        if question.may_tell(text, now_s):
            self.notices.append(Notice(text, alarm=alarm))


def _again(now_not: bool, later: bool) -> str:
    """Say whether a refused question is asked again."""
    if now_not:
        return "It is asked again later."
    if later:
        return f"It is asked again every {RETRY_S:.0f} s, in case that changes with the engine on."
    return "It is not asked again."
