"""The extended session of a unit (ISO 14229-1): entered only where it was agreed to. No I/O.

A signal file must name it and the user must agree. It is entered and kept while the vehicle stands,
and left when it moves; the port leaves it when it is closed.
"""

from collections.abc import Generator, Sequence

from warmwatch.core.notice import Notice
from warmwatch.links.asking.question import Question
from warmwatch.links.asking.request import Request, RequestOutcome
from warmwatch.links.asking.survey import Asking
from warmwatch.links.asking.units import Unit
from warmwatch.signals import uds

KEEP_S = 2.0
"""How often 3E 00 is said; a unit falls back after 5 s without it (ISO 14229-1, S3)."""
STANDS_S = 5.0
"""So old may the vehicle's speed be."""
AGAIN_S = 10.0

NOT_AGREED = (
    "{words} needs the extended session of its unit (10 03), and nobody agreed to that, so "
    "warmwatch does not ask for it. Read docs/signals.md, and add extended=yes to the address."
)
MOVES = "The vehicle moves: {unit} goes back to its default session, {words} is not asked for."
REFUSED = "{unit} does not go into its extended session; warmwatch tries again every {every:g} s."


class Sessions:
    """Which units are in the extended session, and whether they may be."""

    def __init__(self, asked: Sequence[Question], *, agreed: bool) -> None:
        self._questions = [question for question in asked if question.extended]
        self._knows_speed = any(question.gives("speed_kmh") for question in asked)
        self._agreed = agreed
        self._speed: tuple[float, float] | None = None
        self._in: dict[Unit, float] = {}
        self._next_s: dict[Unit, float] = {}
        self._told: set[str] = set()
        self.notices: list[Notice] = []
        if not agreed:
            for question in self._questions:
                question.stopped = True
                self._tell(NOT_AGREED.format(words=question.words), alarm=question.is_fluid)

    def note_speed(self, kmh: float, now_s: float) -> None:
        """Take note of the vehicle's speed."""
        self._speed = (kmh, now_s)

    def entered(self, question: Question, now_s: float) -> Generator[Request, RequestOutcome, bool]:
        """Go into the session that a question needs; False when it must not be asked now."""
        unit = question.unit
        if not question.extended or unit is None:
            return True
        if not self._stands(now_s):
            return False
        if unit in self._in:
            if now_s - self._in[unit] >= KEEP_S:
                yield Request(uds.TESTER_PRESENT, (0x00,), unit)
                self._in[unit] = now_s
            return True
        if now_s < self._next_s.get(unit, 0.0):
            return False
        outcome = yield Request(uds.SESSION_SERVICE, (uds.EXTENDED,), unit)
        if unit in outcome.answers:
            self._in[unit] = now_s
            return True
        self._next_s[unit] = now_s + AGAIN_S
        self._tell(REFUSED.format(unit=unit.label, every=AGAIN_S), alarm=True)
        return False

    def fallen_back(self, unit: Unit) -> None:
        """The unit says that it is not in the session (7F): enter it again."""
        self._in.pop(unit, None)

    def left_when_moving(self, now_s: float) -> Asking:
        """Leave the session at once when the vehicle moves."""
        if self._speed is None or self._speed[0] <= 0.0:
            return
        for question in self._questions:
            if question.unit is not None and self._in.pop(question.unit, None) is not None:
                yield Request(uds.SESSION_SERVICE, (uds.DEFAULT,), question.unit)
                self._tell(MOVES.format(unit=question.unit.label, words=question.words), alarm=True)

    def _stands(self, now_s: float) -> bool:
        """True when the vehicle is known to stand; where no unit tells its speed, it was agreed."""
        if not self._knows_speed:
            return True
        if self._speed is None:
            return False
        return self._speed[0] <= 0.0 and now_s - self._speed[1] <= STANDS_S

    def _tell(self, text: str, *, alarm: bool = False) -> None:
        if text not in self._told:
            self._told.add(text)
            self.notices.append(Notice(text, alarm=alarm))


def note_session(in_session: set[Unit], request: Request, outcome: RequestOutcome) -> None:
    """Keep account of the units that an answered session request moved."""
    if request.service == uds.SESSION_SERVICE:
        if request.identifiers == (uds.EXTENDED,):
            in_session.update(outcome.answers)
        else:
            in_session.difference_update(outcome.answers)
