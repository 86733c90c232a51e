"""One request and what comes back for it: matching and waiting, without I/O or a clock."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from warmwatch.links.asking.units import Unit
from warmwatch.signals import uds
from warmwatch.signals.answers import (
    POSITIVE_OFFSET,
    Conduct,
    Refusal,
    parse_refusal,
    single_request,
)

MAX_PENDING = 10
"""A unit may say `still working` so often before we give up on it."""


@dataclass(frozen=True, slots=True)
class Request:
    """Identifiers asked of one unit, or of all when `unit` is None.

    `delay_s` is a pause before it. `patient`: wait longer than usual. `expected` are all that can
    answer a request to everybody, where that is known: the wait ends with the last of them.
    """

    service: int
    identifiers: tuple[int, ...]
    unit: Unit | None = None
    delay_s: float = field(default=0.0, compare=False)
    patient: bool = field(default=False, compare=False)
    expected: frozenset[Unit] = field(default=frozenset(), compare=False)

    @property
    def width(self) -> int:
        """The size of an identifier in bytes."""
        return 2 if self.service == uds.SERVICE else 1

    @property
    def payload(self) -> bytes:
        """The bytes to send."""
        return single_request(self.service, self.width, self.identifiers)

    def matches(self, payload: bytes) -> bool:
        """True when a positive answer belongs to this request."""
        first = int.from_bytes(payload[1 : 1 + self.width], "big")
        return payload[:1] == bytes([self.service + POSITIVE_OFFSET]) and (
            first in self.identifiers and len(payload) > self.width
        )

    def answered_by(self, payload: bytes) -> bool:
        """True when a payload is a positive or a negative answer to this request."""
        refusal = parse_refusal(payload)
        return self.matches(payload) or (refusal is not None and refusal.service == self.service)


@dataclass(frozen=True, slots=True)
class RequestOutcome:
    """What came back until the wait ran out: positive answers and refusals by unit.

    `took_s` is how long each of them took, where that is known.
    """

    answers: Mapping[Unit, bytes] = field(default_factory=dict)
    refusals: Mapping[Unit, Refusal] = field(default_factory=dict)
    took_s: Mapping[Unit, float] = field(default_factory=dict, compare=False)

    @property
    def silent(self) -> bool:
        """True when nobody said anything."""
        return not (self.answers or self.refusals)

    @property
    def spoke(self) -> frozenset[Unit]:
        """The units that said anything."""
        return frozenset(self.answers) | frozenset(self.refusals)


class Exchange:
    """The wait for one request's answers. Times are seconds of any clock that never runs back.

    One unit asked: the first answer or refusal ends it. All units asked: every answer is collected
    until the wait ends, and only then are refusals judged (ISO 15765-4). `Response pending` starts
    the wait of that unit again, P2* long.
    """

    def __init__(self, request: Request, now_s: float, wait_s: float) -> None:
        self._request = request
        self._asked_s = now_s
        self._pending_wait_s = max(uds.P2_STAR_S, wait_s)
        self._deadline_s = now_s + wait_s
        self._pending_deadline_s = self._deadline_s
        self._pending: dict[Unit, int] = {}
        self._answers: dict[Unit, bytes] = {}
        self._refusals: dict[Unit, Refusal] = {}
        self._took_s: dict[Unit, float] = {}
        self.strays = 0

    @property
    def outcome(self) -> RequestOutcome:
        """What has come so far."""
        return RequestOutcome(self._answers, self._refusals, self._took_s)

    def receive(self, unit: Unit, payload: bytes, now_s: float) -> None:
        """Take a payload; one that does not belong to the request is only counted."""
        refusal = parse_refusal(payload)
        asked = self._request.unit
        if asked is not None and unit.answer_id != asked.answer_id:
            self.strays += 1
        elif refusal is not None and refusal.service == self._request.service:
            self._refused(unit, refusal, now_s)
        elif self._request.matches(payload):
            self._answers[unit] = payload
            self._refusals.pop(unit, None)
            self._pending.pop(unit, None)
            self._took_s.setdefault(unit, now_s - self._asked_s)
        else:
            self.strays += 1

    def _refused(self, unit: Unit, refusal: Refusal, now_s: float) -> None:
        if unit in self._answers:
            return
        self._refusals[unit] = refusal
        self._took_s.setdefault(unit, now_s - self._asked_s)
        if refusal.conduct is not Conduct.WAIT:
            self._pending.pop(unit, None)
            return
        self._pending[unit] = self._pending.get(unit, 0) + 1
        if self._pending[unit] <= MAX_PENDING:
            self._pending_deadline_s = now_s + self._pending_wait_s

    @property
    def waiting_for(self) -> list[Unit]:
        """The units that said they are still working on it."""
        return sorted(self._pending)

    def finished(self, now_s: float) -> bool:
        """True when no more is to be waited for."""
        if self._pending:
            return now_s >= self._pending_deadline_s
        if self._request.unit is not None:
            complete = not self.outcome.silent
        else:
            complete = bool(self._request.expected) and self._request.expected <= self.outcome.spoke
        return complete or now_s >= self._deadline_s
