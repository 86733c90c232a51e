"""What is asked, told and left alone: the plan driven by the test vehicle's units, without a bus.

Conduct as in uds_cases.csv and j1979_conduct.csv; time is whatever a test says it is.
"""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.vehicle.units import TestUnit
from warmwatch.core.notice import Notice
from warmwatch.links.asking.conduct import FLUID_RETRY_S, RETRY_S
from warmwatch.links.asking.plan import Plan
from warmwatch.links.asking.question import questions
from warmwatch.links.asking.request import MAX_PENDING, Exchange, Request, RequestOutcome
from warmwatch.links.asking.survey import Asking, Offer, Survey
from warmwatch.links.asking.units import NORMAL, Unit
from warmwatch.links.live import Values
from warmwatch.signals import Signal
from warmwatch.signals.answers import Conduct, parse_refusal
from warmwatch.signals.uds import P2_STAR_S

ENGINE, GEARBOX = Unit(0x7E8, 0x7E0), Unit(0x7E9, 0x7E1)
FLUID_ASKED = bytes.fromhex("221234")
FLUID = Signal(
    "fluid_c", 0x22, 0x1234, length=2, scale=0.1, unit="C", low=-39, high=180,
    record_length=2, target=0x7E1,
)  # fmt: skip
WARM = {0x1234: (853).to_bytes(2, "big")}


class Wire:
    """Hands requests to units at once and keeps what was asked."""

    def __init__(self, *units: TestUnit) -> None:
        self.units = units
        self.asked: list[bytes] = []

    def drive(self, asking: Asking) -> None:
        try:
            request = next(asking)
            while True:
                request = asking.send(self.outcome(request))
        except StopIteration:
            return

    def outcome(self, request: Request) -> RequestOutcome:
        self.asked.append(request.payload)
        exchange = Exchange(request, 0.0, 0.4)
        for unit in self.units:
            if request.unit is not None and request.unit.request_id != unit.request_id:
                continue
            if request.unit is not None and not unit.physical:
                continue
            for payload in unit.answers(request.payload, functional=request.unit is None):
                if payload:
                    exchange.receive(Unit(unit.answer_id, unit.request_id), payload, 0.0)
        return exchange.outcome

    def count(self, payload: bytes) -> int:
        return self.asked.count(payload)


def plan_for(signals: Sequence[Signal], offers: dict[Unit, Offer] | None = None) -> Plan:
    return Plan(questions(signals, offers or {}, NORMAL.unit_at))


def polls(plan: Plan, wire: Wire, times: Sequence[float]) -> list[Values | Notice]:
    """Run one cycle at each time and return everything taken."""
    taken: list[Values | Notice] = []
    for now_s in times:
        wire.drive(plan.cycle(now_s))
        taken += [item for item in plan.take() if isinstance(item, Values | Notice)]
    return taken


def told(taken: list[Values | Notice]) -> list[Notice]:
    return [item for item in taken if isinstance(item, Notice)]


def fluid(taken: list[Values | Notice]) -> list[float]:
    return [i.values["fluid_c"] for i in taken if isinstance(i, Values) and "fluid_c" in i.values]


FOR_GOOD = [0x11, 0x12, 0x13, 0x14, 0x31, 0x33, 0x7F]


@pytest.mark.parametrize("code", FOR_GOOD)
def test_a_fluid_refused_with_the_engine_off_is_asked_for_again_rarely(code: int) -> None:
    """Never answered: told once, asked every 30 s; the answer after the engine's start is used."""
    unit = TestUnit(0x7E1, 0x7E9, dids=WARM, refusals={FLUID_ASKED: [code, 0]})
    wire, plan = Wire(unit), plan_for([FLUID])
    taken = polls(plan, wire, range(300))
    at_first = 2 if code == 0x7F else 1  # 7F: once more after the default session
    assert wire.count(FLUID_ASKED) == at_first + 300 / RETRY_S - 1
    (notice,) = told(taken)
    assert notice.alarm
    assert f"code {code:02X}" in notice.text
    assert "asked again every 30 s" in notice.text
    unit.refusals.clear()  # the engine runs
    assert fluid(polls(plan, wire, range(300, 310))) == [85.3] * 10


@pytest.mark.parametrize("code", [0x11, 0x13, 0x14, 0x31, 0x33])
def test_what_is_not_the_fluid_is_refused_for_good(code: int) -> None:
    """11, 13, 14, 31, 33 on another identifier: asked once and never again."""
    park = Signal("in_park", 0x22, 0x5678, record_length=1, target=0x7E1)
    asked = bytes.fromhex("225678")
    wire = Wire(TestUnit(0x7E1, 0x7E9, refusals={asked: [code, 0]}))
    (notice,) = told(polls(plan_for([park]), wire, range(300)))[1:]  # the first: no fluid at all
    assert "not asked again" in notice.text
    assert wire.count(asked) == 1


@pytest.mark.parametrize("code", [0x10, 0x22, 0x94])
def test_a_refusal_for_now_is_asked_again_after_a_while(code: int) -> None:
    """22 (and codes without a rule): told once, asked again every few seconds, not every poll."""
    unit = TestUnit(0x7E1, 0x7E9, dids=WARM, refusals={FLUID_ASKED: [code] * 3})
    wire = Wire(unit)
    taken = polls(plan_for([FLUID]), wire, range(30))
    assert len(told(taken)) == 1
    assert "asked again later" in told(taken)[0].text
    first_value_s = 3 * FLUID_RETRY_S
    assert len(fluid(taken)) == 30 - first_value_s


def test_busy_is_asked_again_in_the_same_poll() -> None:
    """21: the same request is repeated after a moment, and its value comes without a notice."""
    wire = Wire(TestUnit(0x7E1, 0x7E9, dids=WARM, refusals={FLUID_ASKED: [0x21, 0x21]}))
    taken = polls(plan_for([FLUID]), wire, [0.0])
    assert fluid(taken) == [85.3]
    assert told(taken) == []
    assert wire.count(FLUID_ASKED) == 3


def test_always_busy_is_told_and_not_hammered() -> None:
    """21 for ever: a few repeats, then a notice and a pause."""
    wire = Wire(TestUnit(0x7E1, 0x7E9, refusals={FLUID_ASKED: [0x21, 0]}))
    taken = polls(plan_for([FLUID]), wire, range(20))
    assert len(told(taken)) == 1
    assert wire.count(FLUID_ASKED) == 4 * 20 / FLUID_RETRY_S  # one and three repeats, with pauses


def test_the_wrong_session_is_left_once() -> None:
    """7F: the default session (10 01) is asked for once; then the request is repeated."""
    wire = Wire(TestUnit(0x7E1, 0x7E9, dids=WARM, refusals={FLUID_ASKED: [0x7F]}))
    assert fluid(polls(plan_for([FLUID]), wire, [0.0])) == [85.3]
    assert wire.asked == [FLUID_ASKED, bytes.fromhex("1001"), FLUID_ASKED]
    wire = Wire(TestUnit(0x7E1, 0x7E9, dids=WARM, refusals={FLUID_ASKED: [0x7F, 0]}))
    taken = polls(plan_for([FLUID]), wire, range(int(RETRY_S)))
    assert wire.count(bytes.fromhex("1001")) == 1
    assert wire.count(FLUID_ASKED) == 2
    assert "code 7F" in told(taken)[0].text


def test_one_refused_service_silences_the_other_identifiers_at_that_unit() -> None:
    """11: a unit that does not know service 22 is asked for the fluid only, and rarely."""
    signals = [FLUID, *(replace(FLUID, name="in_park", identifier=n) for n in (1, 2))]
    every = {Request(0x22, (s.identifier,), GEARBOX).payload: [0x11, 0] for s in signals}
    wire = Wire(TestUnit(0x7E1, 0x7E9, refusals=every))
    polls(plan_for([replace(signal, record_length=None) for signal in signals]), wire, range(60))
    assert wire.asked == [FLUID_ASKED, FLUID_ASKED]


def test_a_refused_group_is_not_worked_through_when_the_service_is_unknown() -> None:
    """11 to a group: one single request confirms it, and the rest is left alone."""
    dids = [Signal("in_park", 0x22, n, record_length=1, target=0x7E1) for n in (1, 2, 3)]
    every = {Request(0x22, n, GEARBOX).payload: [0x11, 0] for n in ((1, 2, 3), (1,), (2,), (3,))}
    wire = Wire(TestUnit(0x7E1, 0x7E9, refusals=every))
    polls(plan_for(dids), wire, range(100))
    assert len(wire.asked) == 2


def test_one_units_refusal_does_not_end_a_question_to_everybody() -> None:
    """Asked of all, a locked unit (33) is told, and the one that knows is still found later."""
    anybody = replace(FLUID, target=None)
    locked = TestUnit(0x7E0, 0x7E8, refusals={FLUID_ASKED: [0x33, 0]})
    owner = TestUnit(0x7E1, 0x7E9, dids=WARM, silent=True)
    plan, wire = plan_for([anybody]), Wire(locked, owner)
    taken = polls(plan, wire, [0.0, 1.0, 2.0])
    assert wire.count(FLUID_ASKED) == 1
    assert [notice.alarm for notice in told(taken)] == [True]
    owner.silent = False
    assert fluid(polls(plan, wire, [RETRY_S])) == [85.3]


def test_silence_on_one_identifier_is_no_broken_link() -> None:
    """A PID that is not supported is silent (j1979_conduct.csv): told once; the rest goes on."""
    oil = Signal("engine_oil_c", 0x01, 0x5C, offset=-40, unit="C", record_length=1)
    wire = Wire(TestUnit(0x7E0, 0x7E8, pids={0x0C: b"\x0b\xb8"}), TestUnit(0x7E1, 0x7E9, dids=WARM))
    plan = plan_for([FLUID, oil])
    taken = polls(plan, wire, range(60))
    assert plan.silent_cycles == 0
    assert len(fluid(taken)) == 60
    assert [n.text for n in told(taken) if "engine_oil_c" in n.text]
    assert len(told(taken)) == 1
    assert wire.count(b"\x01\x5c") <= 2 + 60 / RETRY_S


def test_silence_on_everything_is_counted_as_a_broken_link() -> None:
    """The port gives the bus up on this count; one answer starts it anew."""
    unit = TestUnit(0x7E1, 0x7E9, dids=WARM)
    plan, wire = plan_for([FLUID]), Wire(unit)
    polls(plan, wire, [0.0])
    unit.silent = True
    polls(plan, wire, [1.0, 2.0, 3.0])
    assert plan.silent_cycles == 3
    unit.silent = False
    assert fluid(polls(plan, wire, [4.0])) == [85.3]
    assert plan.silent_cycles == 0


def test_a_value_is_handed_over_once() -> None:
    """What was taken is gone: a stale value cannot be repeated as new."""
    plan = plan_for([FLUID])
    wire = Wire(TestUnit(0x7E1, 0x7E9, dids=WARM))
    assert fluid(polls(plan, wire, [0.0])) == [85.3]
    assert plan.take() == []


def test_the_good_answer_counts_when_another_unit_refuses() -> None:
    """j1979_conduct.csv: 7F 01 12 of one unit beside 41 0D 00 of another is 0 km/h, no failure."""
    request = Request(0x01, (0x0D,))
    exchange = Exchange(request, 0.0, 0.4)
    exchange.receive(ENGINE, bytes.fromhex("7F0112"), 0.01)
    assert not exchange.finished(0.1)
    exchange.receive(GEARBOX, bytes.fromhex("410D00"), 0.2)
    assert exchange.finished(0.4)
    speed = Signal("speed_kmh", 0x01, 0x0D, record_length=1)
    plan = plan_for([speed])
    plan.take()
    cycle = plan.cycle(0.0)
    next(cycle)
    with pytest.raises(StopIteration):
        cycle.send(exchange.outcome)
    (values,) = plan.take()
    assert isinstance(values, Values)
    assert values.values == {"speed_kmh": 0.0}
    assert values.doubts == {}


def test_still_working_starts_the_longer_wait_anew_each_time() -> None:
    """78: P2* (5 s) from each one, then the answer; its number is bounded."""
    exchange = Exchange(Request(0x22, (0x1234,), GEARBOX), 0.0, 0.4)
    pending = bytes.fromhex("7F2278")
    exchange.receive(GEARBOX, pending, 0.3)
    assert not exchange.finished(0.3 + P2_STAR_S - 0.01)
    exchange.receive(GEARBOX, pending, 5.0)
    assert not exchange.finished(5.0 + P2_STAR_S - 0.01)
    exchange.receive(GEARBOX, bytes.fromhex("6212340355"), 9.0)
    assert exchange.finished(9.0)
    assert exchange.outcome.answers == {GEARBOX: bytes.fromhex("6212340355")}
    assert exchange.outcome.refusals == {}
    endless = Exchange(Request(0x22, (0x1234,), GEARBOX), 0.0, 0.4)
    for n in range(MAX_PENDING + 5):
        endless.receive(GEARBOX, pending, float(n))
    assert endless.finished(MAX_PENDING + P2_STAR_S)


@pytest.mark.parametrize(
    "payload", ["6212350355", "4105 82", "7F0131", "", "62", "7E00", "5001003201F4"]
)
def test_an_answer_to_something_else_is_dropped(payload: str) -> None:
    """Late or foreign payloads (wrong service or identifier) never end or answer a request."""
    exchange = Exchange(Request(0x22, (0x1234,), GEARBOX), 0.0, 0.4)
    exchange.receive(GEARBOX, bytes.fromhex(payload), 0.1)
    exchange.receive(ENGINE, bytes.fromhex("6212340355"), 0.1)
    assert exchange.outcome.silent
    assert exchange.strays == 2


def test_all_are_waited_for_when_all_are_asked() -> None:
    """GOST R ISO 15765-4 step 4: one answer does not end a request to everybody."""
    exchange = Exchange(Request(0x01, (0x00,)), 0.0, 0.4)
    exchange.receive(ENGINE, bytes.fromhex("4100BE1FB810"), 0.01)
    assert not exchange.finished(0.39)
    assert exchange.finished(0.4)


def test_the_survey_follows_the_chain_of_bitmaps() -> None:
    """j1979_bitmaps.csv, forum archive: 00, 20, 40 and then stop, as the last bit says."""
    unit = TestUnit(0x7E0, 0x7E8)
    unit.pids = {
        0x00: bytes.fromhex("981A8013"),
        0x20: bytes.fromhex("80018001"),
        0x40: bytes.fromhex("FE1C2000"),
    }
    wire, survey = Wire(unit), Survey()
    wire.drive(survey.run())
    assert wire.asked == [b"\x01\x00", b"\x01\x20", b"\x01\x40"]
    offer = survey.offers[ENGINE]
    assert {0x04, 0x05, 0x0C, 0x0D, 0x11, 0x1F, 0x42, 0x46} <= offer.pids
    assert 0x5C not in offer.pids


def test_a_broken_answer_is_a_doubt_and_no_value() -> None:
    """A record of the wrong size is doubtful with its bytes kept, never a temperature."""
    wire = Wire(TestUnit(0x7E1, 0x7E9, dids={0x1234: b"\x03"}))
    taken = polls(plan_for([FLUID]), wire, [0.0])
    (values,) = [item for item in taken if isinstance(item, Values)]
    assert values.values == {}
    assert values.doubts == {"fluid_c": "broken-answer"}
    assert values.raw == "7E9 62123403"


@given(st.binary(max_size=12))
def test_no_payload_becomes_a_wrong_temperature(payload: bytes) -> None:
    """Whatever a unit sends, an undoubted fluid value is the decoding of `62 1234 xx xx`."""
    plan = plan_for([FLUID])
    cycle = plan.cycle(0.0)
    exchange = Exchange(next(cycle), 0.0, 0.4)
    exchange.receive(GEARBOX, payload, 0.0)
    outcome = exchange.outcome
    conducts = {refusal.conduct for refusal in outcome.refusals.values()}
    if conducts & {Conduct.REPEAT, Conduct.DEFAULT_SESSION}:
        return  # asks again; covered above
    with pytest.raises(StopIteration):
        cycle.send(outcome)
    for item in plan.take():
        if isinstance(item, Values) and "fluid_c" in item.values:
            assert payload[:3] == bytes.fromhex("621234")
            assert len(payload) == 5
            number = int.from_bytes(payload[3:], "big")
            assert item.values["fluid_c"] == pytest.approx(number * 0.1)
            assert ("fluid_c" in item.doubts) is (number > 1800)


def test_requests_always_fit_one_frame() -> None:
    """Six PIDs or three identifiers (five and two with an address byte) are the most asked."""
    pids = frozenset({0x04, 0x05, 0x0C, 0x0D, 0x11, 0x1F, 0x42, 0x46, 0x5C})
    dids = [Signal("in_park", 0x22, n, record_length=1, target=0x7E1) for n in range(8)]
    for room in (7, 6):
        plan = Plan(questions(dids, {ENGINE: Offer(0x01, pids)}, NORMAL.unit_at), room)
        wire = Wire(TestUnit(0x7E0, 0x7E8), TestUnit(0x7E1, 0x7E9))
        wire.drive(plan.cycle(0.0))
        assert max(len(payload) for payload in wire.asked) == room
        assert all(parse_refusal(payload) is None for payload in wire.asked)
