"""`can:` row by row through j1979_conduct.csv: the bytes and expectations are those of the rows.

The file is SAE J1979 and ISO 15765-4 conduct as found published; each row names its source.
"""

import re
import uuid
from collections.abc import Callable, Iterator

import pytest

from tests.links.test_can_plan import Wire, plan_for, polls, told
from tests.signals.rows import rows
from tests.vehicle.units import TestUnit
from warmwatch.links.asking.plan import Plan
from warmwatch.links.asking.question import questions
from warmwatch.links.asking.request import Exchange, Request, RequestOutcome
from warmwatch.links.asking.survey import Offer
from warmwatch.links.asking.units import FIXED, NORMAL, Addressing, Unit
from warmwatch.links.can.transport import Transport
from warmwatch.links.live import Values
from warmwatch.links.python_can import can
from warmwatch.signals import standard_table
from warmwatch.signals.answers import parse_refusal
from warmwatch.signals.uds import P2_S, P2_STAR_S

Row = dict[str, str]
ROWS = {row["case"]: row for row in rows("j1979_conduct.csv")}
CHECKS: dict[str, Callable[["Bus", Row], None]] = {}
ENGINE, GEARBOX = Unit(0x7E8, 0x7E0), Unit(0x7E9, 0x7E1)
COOLANT, RPM, SPEED = 0x05, 0x0C, 0x0D
WAIT_S = 0.4


class Bus:
    """Our transport, and a bare bus object at the far end of the same virtual channel."""

    def __init__(self) -> None:
        channel = uuid.uuid4().hex
        self.far = can.Bus(interface="virtual", channel=channel)
        self.near = Transport(can.Bus(interface="virtual", channel=channel))

    def asked(self, payload: bytes, unit: Unit | None, addressing: Addressing) -> tuple[int, bytes]:
        """Return what a request looks like on the wire."""
        self.near.addressing = addressing
        self.near.send(payload, unit)
        message = self.far.recv(1.0)
        assert message is not None
        assert message.is_extended_id == (message.arbitration_id > 0x7FF)
        return message.arbitration_id, bytes(message.data)

    def say(self, arbitration_id: int, data: bytes) -> list[tuple[Unit, bytes]]:
        """Put a frame on the bus as a vehicle would; return the payloads that are whole then."""
        wide = arbitration_id > 0x7FF
        message = can.Message(arbitration_id=arbitration_id, data=data, is_extended_id=wide)
        self.far.send(message)
        return self.near.receive(0.2)

    def close(self) -> None:
        self.near.close()
        self.far.shutdown()


@pytest.fixture
def bus() -> Iterator[Bus]:
    pair = Bus()
    yield pair
    pair.close()


def of(case: str) -> Callable[[Callable[[Bus, Row], None]], Callable[[Bus, Row], None]]:
    """Mark the check of one row."""

    def keep(check: Callable[[Bus, Row], None]) -> Callable[[Bus, Row], None]:
        CHECKS[case] = check
        return check

    return keep


def byte_runs(text: str) -> list[bytes]:
    """Return each run of two-digit hex bytes in a row's text."""
    found = re.findall(r"\b[0-9A-F]{2}(?: [0-9A-F]{2})+\b", text)
    return [bytes.fromhex(run) for run in found]


def number(text: str, unit: str) -> float:
    """Return the number before a unit in a row's expectation: `90 degC`."""
    match = re.search(rf"(\d+) {re.escape(unit)}", text)
    assert match is not None
    return float(match[1])


def values_of(
    pids: tuple[int, ...], outcome: RequestOutcome, unit: Unit | None
) -> dict[str, float]:
    """Return what a plan that asks for `pids` makes of an outcome."""
    signals = [signal for signal in standard_table() if signal.identifier in pids]
    if unit is None:
        plan = plan_for(signals)
    else:
        plan = Plan(questions((), {unit: Offer(0x01, frozenset(pids))}, NORMAL.unit_at))
    plan.take()
    cycle = plan.cycle(0.0)
    assert next(cycle).identifiers == pids
    with pytest.raises(StopIteration):
        cycle.send(outcome)
    (values,) = plan.take()
    assert isinstance(values, Values)
    assert values.doubts == {}
    return dict(values.values)


def ended(request: Request, said: list[tuple[Unit, bytes]]) -> RequestOutcome:
    exchange = Exchange(request, 0.0, WAIT_S)
    for unit, payload in said:
        exchange.receive(unit, payload, 0.01)
    assert exchange.finished(WAIT_S)
    return exchange.outcome


@pytest.mark.parametrize("case", ROWS)
def test_each_row_of_the_conduct_table_holds(bus: Bus, case: str) -> None:
    """Every row has a check of its own, fed with the row's bytes."""
    CHECKS[case](bus, ROWS[case])


@of("functional request, 11 bit")
def functional(bus: Bus, row: Row) -> None:
    """Sent to all, length 2, padded to 8 bytes (with CC, as in the row)."""
    (data,) = byte_runs(row["bytes"])
    asked = bus.asked(Request(0x01, (COOLANT,)).payload, None, NORMAL)
    assert asked == (int(row["can_id"], 16), data)
    assert len(asked[1]) == 8


@of("physical request, 11 bit")
def physical(bus: Bus, row: Row) -> None:
    (data,) = byte_runs(row["bytes"])
    first, last = (int(part, 16) for part in row["can_id"].split(".."))
    assert last - first == 7
    for request_id in range(first, last + 1):
        unit = NORMAL.unit_at(request_id)
        assert bus.asked(Request(0x01, (COOLANT,)).payload, unit, NORMAL) == (request_id, data)
        assert unit.answer_id == request_id + 8


@of("response, 11 bit")
def response(bus: Bus, row: Row) -> None:
    (data,) = byte_runs(row["bytes"])
    first, last = (int(part, 16) for part in row["can_id"].split(".."))
    for answer_id in range(first, last + 1):
        said = bus.say(answer_id, data)
        ((unit, _),) = said
        assert unit == Unit(answer_id, answer_id - 8)
        values = values_of((COOLANT,), ended(Request(0x01, (COOLANT,), unit), said), unit)
        assert values == {"coolant_c": number(row["expected"], "degC")}
    assert bus.say(first - 1, data) == bus.say(last + 1, data) == []


@of("functional request, 29 bit")
def functional_29(bus: Bus, row: Row) -> None:
    (data,) = byte_runs(row["bytes"])
    payload = Request(0x01, (COOLANT,)).payload
    assert bus.asked(payload, None, FIXED) == (int(row["can_id"], 16), data)


@of("physical request / response, 29 bit")
def both_29(bus: Bus, row: Row) -> None:
    request_id, answer_id = (int(part, 16) for part in row["can_id"].split(" / "))
    request, answer = byte_runs(row["bytes"])
    unit = FIXED.unit_at(0x10)
    assert (unit.request_id, unit.answer_id) == (request_id, answer_id)
    asked_id, asked = bus.asked(Request(0x01, (COOLANT,)).payload, unit, FIXED)
    assert (asked_id, asked[: len(request)]) == (request_id, request)
    said = bus.say(answer_id, answer.ljust(8, b"\xcc"))
    outcome = ended(Request(0x01, (COOLANT,), unit), said)
    assert values_of((COOLANT,), outcome, unit) == {"coolant_c": 90.0}


@of("two units answer")
def two_units(bus: Bus, row: Row) -> None:
    """Both are kept by identifier; 81 is 1 degC below 82 (A-40)."""
    ids = [int(part, 16) for part in row["can_id"].split(" + ")]
    said = []
    for answer_id, data in zip(ids, byte_runs(row["bytes"]), strict=True):
        said += bus.say(answer_id, data.ljust(8, b"\xcc"))
    outcome = ended(Request(0x01, (COOLANT,)), said)
    assert set(outcome.answers) == {ENGINE, GEARBOX}
    assert values_of((COOLANT,), outcome, ENGINE) == {"coolant_c": 90.0}
    assert values_of((COOLANT,), outcome, GEARBOX) == {"coolant_c": 89.0}


@of("three PIDs in one request (CAN allows up to six)")
def three_pids(bus: Bus, row: Row) -> None:
    pids = (COOLANT, RPM, SPEED)
    request = Request(0x01, pids)
    (data,) = byte_runs(row["bytes"])
    assert bus.asked(request.payload, None, NORMAL) == (int(row["can_id"], 16), data)
    (answer,) = byte_runs(row["expected"])
    assert len(answer) == 8
    assert bus.say(0x7E8, bytes([0x10, len(answer)]) + answer[:6]) == []
    flow_control = bus.far.recv(1.0)
    assert flow_control is not None
    assert (flow_control.arbitration_id, flow_control.data[0]) == (0x7E0, 0x30)
    said = bus.say(0x7E8, b"\x21" + answer[6:].ljust(7, b"\xcc"))
    assert said == [(ENGINE, answer)]
    expected = row["expected"]
    assert values_of(pids, ended(request, said), ENGINE) == {
        "coolant_c": number(expected, "degC"),
        "engine_rpm": number(expected, "rpm"),
        "speed_kmh": number(expected, "km/h"),
    }


@of("negative answer")
def negative(bus: Bus, row: Row) -> None:
    (data,) = byte_runs(row["bytes"])
    said = bus.say(int(row["can_id"], 16), data)
    outcome = ended(Request(0x01, (COOLANT,), ENGINE), said)
    assert outcome.answers == {}
    refusal = outcome.refusals[ENGINE]
    assert (refusal.service, refusal.code) == (0x01, 0x12)


@of("one unit refuses, another answers")
def one_refuses(_bus: Bus, row: Row) -> None:
    """The payloads of the older link's capture (three bytes of head, a checksum) come by CAN."""
    refused, answered = (run[3:-1] for run in byte_runs(row["bytes"]))
    assert parse_refusal(refused) is not None
    request = Request(0x01, (SPEED,))
    outcome = ended(request, [(ENGINE, refused), (GEARBOX, answered)])
    assert values_of((SPEED,), outcome, None) == {"speed_kmh": number(row["expected"], "km/h")}


@of("unsupported PID on CAN")
def unsupported(_bus: Bus, row: Row) -> None:
    """Silence on one PID is told once, and the link is not counted as broken."""
    asked = byte_runs(row["bytes"])[0][1:]
    oil = next(signal for signal in standard_table() if signal.identifier == asked[1])
    rpm = next(signal for signal in standard_table() if signal.identifier == RPM)
    wire = Wire(TestUnit(0x7E0, 0x7E8, pids={RPM: b"\x0b\xb8"}))
    plan = plan_for([oil, rpm])
    taken = polls(plan, wire, range(60))
    assert asked in wire.asked
    assert plan.silent_cycles == 0
    texts = [notice.text for notice in told(taken) if oil.name in notice.text]
    assert len(texts) == 1
    assert "does not offer it" in texts[0]


@of("wait, then judge negatives")
def wait_then_judge(_bus: Bus, row: Row) -> None:
    assert row["expected"].startswith("collect every answer until the wait runs out")
    exchange = Exchange(Request(0x01, (SPEED,)), 0.0, WAIT_S)
    exchange.receive(ENGINE, bytes.fromhex("7F0112"), 0.01)
    assert not exchange.finished(WAIT_S - 0.01)
    exchange.receive(GEARBOX, bytes.fromhex("410D00"), WAIT_S - 0.01)
    assert exchange.finished(WAIT_S)
    assert set(exchange.outcome.answers) == {GEARBOX}


@of("timing")
def timing(_bus: Bus, row: Row) -> None:
    p2_ms, p2_star_ms = (float(text) for text in re.findall(r"(\d+) ms", row["expected"]))
    assert (p2_ms, p2_star_ms) == (P2_S * 1000, P2_STAR_S * 1000)
    exchange = Exchange(Request(0x01, (SPEED,), ENGINE), 0.0, P2_S)
    exchange.receive(ENGINE, bytes.fromhex("7F0178"), 0.04)
    assert not exchange.finished(0.04 + p2_star_ms / 1000 - 0.001)
    assert exchange.finished(0.04 + p2_star_ms / 1000)
    quiet = Exchange(Request(0x01, (SPEED,), ENGINE), 0.0, P2_S)
    assert not quiet.finished(P2_S - 0.001)
    assert quiet.finished(P2_S)
