"""One request through a text adapter: aimed, asked, read, and asked again when in doubt. No I/O.

A text line carries no checksum. What its structure cannot show - a data digit that became another
digit - is caught by asking again: a value that differs from the last one by more than a tolerance,
and the very first one, count only when three answers in a row agree. Refusals between them do not
matter: no refusal ends the asking for what was answered before.
"""

from collections.abc import Generator, Iterable, Mapping

from warmwatch.errors import LinkLost
from warmwatch.links.asking.driver import Pause
from warmwatch.links.asking.patience import Patience
from warmwatch.links.asking.request import MAX_PENDING, Request, RequestOutcome
from warmwatch.links.asking.sessions import note_session
from warmwatch.links.asking.units import Unit
from warmwatch.links.serial.adapter import AdapterAnswer, Headers, Word, read_answer
from warmwatch.links.serial.agreement import Heard, agree, tolerance
from warmwatch.links.serial.aiming import Aiming
from warmwatch.links.serial.talk import COMMAND_WAIT_S, Adapter, Ask, Listen, Settle, Wish
from warmwatch.links.serial.waiting import Waiting
from warmwatch.links.tally import Tally
from warmwatch.signals import Signal, decode, uds
from warmwatch.signals.answers import Conduct, Refusal, parse_refusal, split_records
from warmwatch.signals.readonly import check_reading

TRIES = 3
AGREEING = 3
"""So many answers in a row must agree before a surprising value counts."""
CONFIRMATIONS = 5
REFUSALS, REFUSED_PAUSE_S = 8, 0.1
"""So many refusals may come between answers that must agree."""
LOST_AFTER_UNREADABLE = 6
LOST_AFTER_SILENCES = 3
PENDING_PAUSE_S = 0.5
_STEP_COMMAND = "ATE0"

Exchanging = Generator[Wish, str | None, RequestOutcome]


_NOTHING = Heard(RequestOutcome(), (), {})


def request_text(request: Request, *, extended: bool = False) -> str:
    """Return the hex digits to send; NotReading for a request that does more than read.

    With `extended` one unit may be asked for its extended session.
    """
    check_reading(request.payload, extended=extended and request.unit is not None)
    return request.payload.hex().upper()


class TextBus:
    """The bus behind an adapter. `exchange` is the generator to drive for one request."""

    def __init__(
        self,
        adapter: Adapter,
        signals: Iterable[Signal],
        tally: Tally,
        patience: Patience,
        *,
        always_wait: bool = False,
        extended: bool = False,
    ) -> None:
        self._extended = extended
        self._in_session: set[Unit] = set()
        self._adapter = adapter
        self._tally = tally
        self._patience = patience
        self._waiting = Waiting(patience, always=always_wait)
        self._addressing = adapter.addressing
        self._signals: dict[tuple[int, int], list[Signal]] = {}
        for signal in signals:
            self._signals.setdefault((signal.service, signal.identifier), []).append(signal)
        self._aiming = Aiming(adapter, self._addressing)
        self._last: dict[Request, Heard] = {}
        self._unreadable = 0
        self._silences = 0

    @property
    def everybody(self) -> Unit | None:
        """The one unit to survey where the adapter does not show who answers: the engine's.

        Answers of several units could not be told apart there, so one unit is asked by its address.
        """
        if self._adapter.headers is not Headers.NONE:
            return None
        return Unit(0, 0x18DA10F1 if self._adapter.wide else 0x7E0)

    def exchange(self, request: Request) -> Exchanging:
        """Ask and return what came back. Raises LinkLost when the adapter makes no sense."""
        if request.delay_s:
            yield Pause(request.delay_s)
        yield from self._aiming.at(request.unit, self._commanded)
        if request.service == uds.SESSION_SERVICE and not self._aiming.works:
            return RequestOutcome()  # everybody would get it
        tries = yield from self._waiting.set_for(request, self._commanded)
        heard = _NOTHING
        for asked in range(tries):  # an answer that comes after the wait counts for the next try
            heard = yield from self._readable(request)
            if not heard.outcome.silent:
                yield from self._waiting.heard(request, heard.outcome, asked + 1)
                break
        if self._surprising(request, heard):
            heard = yield from self._confirmed(request, heard)
        note_session(self._in_session, request, heard.outcome)
        if heard.outcome.answers:
            self._last[request] = heard
        return heard.outcome

    def farewell(self) -> list[str]:
        """Return what sends every unit back to its default session."""
        units = sorted(self._in_session)
        self._in_session.clear()
        return [text for unit in units for text in (f"ATSH{self._aiming.header(unit)}", "1001")]

    def _surprising(self, request: Request, heard: Heard) -> bool:
        """True for a first or a changed value."""
        last = self._last.get(request)
        return bool(heard.values) and (last is None or not agree(last, heard))

    def _confirmed(self, request: Request, heard: Heard) -> Generator[Wish, str | None, Heard]:
        agreeing, asked, refused = 1, 0, 0
        while asked < CONFIRMATIONS and refused < REFUSALS:
            again = yield from self._readable(request)
            if again.outcome.refusals and not again.outcome.answers:
                refused += 1
                yield Pause(REFUSED_PAUSE_S)
                continue
            asked += 1
            agreeing = agreeing + 1 if agree(heard, again) else 1
            heard = again
            if agreeing == AGREEING and not heard.outcome.silent:
                return heard
        notice = self._tally.seen(request_text(request), "its answers do not agree")
        if notice is not None:
            yield notice
        return _NOTHING

    def _readable(self, request: Request) -> Generator[Wish, str | None, Heard]:
        """Ask until an answer can be read, but not for ever."""
        tries = pending = 0
        heard: Heard | None = None
        while tries < TRIES and pending <= MAX_PENDING:
            heard = yield from self._asked_once(request)
            if heard is None:
                tries += 1
                continue
            if not _only_waiting(heard.outcome):
                return heard
            pending += 1
            yield from self._waiting.asked_for_time(heard.outcome)
            yield from self._waiting.set_for(request, self._commanded)
            late = yield from self._comes_late(request)
            if late is not None:
                return late
        return heard or _NOTHING

    def _comes_late(self, request: Request) -> Generator[Wish, str | None, Heard | None]:
        """Return an answer that comes after the adapter stopped waiting, if it prints that."""
        text = yield Listen(PENDING_PAUSE_S)
        if not text:
            return None
        answer = read_answer(text, request_text(request), self._adapter.headers)
        heard, _ = self._judged(request, answer)
        return heard if heard is not None and heard.outcome.answers else None

    def _asked_once(self, request: Request) -> Generator[Wish, str | None, Heard | None]:
        command = request_text(request, extended=self._extended)
        text = yield Ask(command, self._waiting.prompt_s)
        if text is None:
            yield from self._back_in_step()
            return None
        self._silences = 0
        answer = read_answer(text, command, self._adapter.headers)
        heard, why = self._judged(request, answer)
        if heard is not None:
            self._unreadable = 0
            return heard
        yield from self._not_read(request, text, why)
        return None

    def _commanded(self, command: str) -> Generator[Wish, str | None, frozenset[Word]]:
        """Give the adapter a command, at most twice, and return its words."""
        words: frozenset[Word] = frozenset()
        for _ in range(2):
            text = yield Ask(command, COMMAND_WAIT_S)
            if text is None:
                yield from self._back_in_step()
                continue
            words = read_answer(text, command, Headers.NONE).words
            if words in ({Word.OK}, {Word.UNKNOWN}):
                break
            yield Settle()
        return words

    def _back_in_step(self) -> Generator[Wish, str | None, None]:
        """After a silence: make sure that the next answer is the next request's, not a late one."""
        self._silences += 1
        for _ in range(2):
            text = yield Ask(_STEP_COMMAND, COMMAND_WAIT_S)
            if text is not None and _only_ok(text) and self._silences < LOST_AFTER_SILENCES:
                return
            yield Settle()
        raise LinkLost("The adapter stopped answering: check its power and plug.")

    def _not_read(self, request: Request, text: str, why: str) -> Generator[Wish, str | None, None]:
        self._unreadable += 1
        if self._adapter.headers is not Headers.NONE and _restarted(request, text):
            raise LinkLost("The adapter has restarted by itself: check its power and plug.")
        if self._unreadable >= LOST_AFTER_UNREADABLE:
            raise LinkLost(
                f"The adapter's answers make no sense any more ({why}): warmwatch sets it up again."
            )
        notice = self._tally.seen(" ".join(text.split()), why)
        if notice is not None:
            yield notice
        yield Settle()

    def _judged(self, request: Request, answer: AdapterAnswer) -> tuple[Heard | None, str]:
        """Return what was heard, or None and why the answer is not to be used."""
        if answer.unreadable:
            return None, answer.unreadable
        answers: dict[Unit, bytes] = {}
        refusals: dict[Unit, Refusal] = {}
        for payload in answer.payloads:
            unit = self._sender(request, payload.unit)
            refusal = parse_refusal(payload.data)
            if unit is None and not self._aiming.works:
                continue  # everybody was asked, because one unit alone cannot be
            if unit is None:
                return None, f"{payload.unit:X} was not asked"
            if refusal is not None and refusal.service == request.service:
                refusals[unit] = refusal
            elif (
                not request.matches(payload.data) or answers.get(unit, payload.data) != payload.data
            ):
                return None, "it answers something else"
            else:
                answers[unit] = payload.data
        outcome = RequestOutcome(answers, {u: r for u, r in refusals.items() if u not in answers})
        values = self._values(request, answers)
        if values is None:
            return None, "its length is wrong"
        if outcome.silent and not answer.words & {Word.NO_DATA, Word.NO_BUS, Word.BUS_ERROR}:
            return None, ", ".join(sorted(answer.words)) or "it is empty"
        return Heard(outcome, tuple(sorted(answer.shape)), values), ""

    def _sender(self, request: Request, answer_id: int) -> Unit | None:
        if request.unit is not None:
            hidden = self._adapter.headers is Headers.NONE
            return request.unit if hidden or request.unit.answer_id == answer_id else None
        return self._addressing.sender(answer_id, self._adapter.wide)

    def _values(self, request: Request, answers: Mapping[Unit, bytes]) -> dict[str, float] | None:
        """Return the values worth asking twice, or None when a record has the wrong length."""
        lengths: dict[int, int | None] = {}
        for identifier in request.identifiers:
            signals = self._signals.get((request.service, identifier), ())
            lengths[identifier] = next((s.record_length for s in signals), None)
        values: dict[str, float] = {}
        for unit, data in answers.items():
            try:
                records = split_records(data, request.service, request.width, lengths)
            except ValueError:
                return None
            for identifier, record in records.items():
                for signal in self._signals.get((request.service, identifier), ()):
                    value = decode(signal, record).value
                    if value is not None and tolerance(signal.name) is not None:
                        values[f"{unit.label} {signal.name}"] = value
        return values


def _restarted(request: Request, text: str) -> bool:
    """True when an answer is whole but shows no identifiers: the adapter forgot its settings."""
    answer = read_answer(text, request_text(request), Headers.NONE)
    return any(request.matches(payload.data) for payload in answer.payloads)


def _only_ok(text: str) -> bool:
    answer = read_answer(text, _STEP_COMMAND, Headers.NONE)
    return answer.words == {Word.OK} and not (answer.payloads or answer.unreadable)


def _only_waiting(outcome: RequestOutcome) -> bool:
    """True when a unit is still working and none has answered."""
    waiting = (refusal.conduct is Conduct.WAIT for refusal in outcome.refusals.values())
    return not outcome.answers and any(waiting)
