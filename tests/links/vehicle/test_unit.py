"""The invented control units, judged by the standards' tables and by udsoncan as client."""

import csv
import itertools
from collections.abc import Iterator
from pathlib import Path

import pytest
from udsoncan import AsciiCodec, DidCodec
from udsoncan.client import Client
from udsoncan.connections import PythonIsoTpConnection
from udsoncan.exceptions import NegativeResponseException, TimeoutException
from udsoncan.Response import Response
from udsoncan.typing import ClientConfig

from warmwatch.demo.ecu import VehicleBus, open_virtual
from warmwatch.demo.scenario import make_scenario
from warmwatch.demo.simulation import State, Vehicle
from warmwatch.demo.unit import (
    ENGINE_PARAMETERS,
    FLUID_IDENTIFIER,
    PARK_IDENTIFIER,
    ControlUnit,
    bitmap,
    engine_unit,
    transmission_unit,
)
from warmwatch.links.python_can import can, isotp

SHARED = Path(__file__).parents[3] / "shared"
CHANNELS = (f"units under test {number}" for number in itertools.count())


class Byte(DidCodec):
    """A record of one byte, as udsoncan wants it described."""

    def encode(self, *args: object, **kwargs: object) -> bytes:
        raise NotImplementedError

    def decode(self, payload: bytes) -> int:
        return payload[0]

    def __len__(self) -> int:
        return 1


@pytest.fixture
def state() -> State:
    return Vehicle(make_scenario()).state


class Bench:
    """Both units on a virtual bus, a tester's bus beside them, and udsoncan at the transmission."""

    def __init__(self, state: State) -> None:
        self.engine, self.transmission = engine_unit(), transmission_unit()
        self.channel = next(CHANNELS)
        units = (self.engine, self.transmission)
        self.vehicle: VehicleBus = open_virtual(self.channel, units, lambda: state)
        self.bus = can.Bus(interface="virtual", channel=self.channel)
        self.listener = can.Bus(interface="virtual", channel=self.channel)

    def client(self, timeout_s: float = 1.0, p2_star_s: float = 1.0) -> Client:
        address = isotp.Address(txid=0x7E1, rxid=0x7E9)
        stack = isotp.CanStack(self.bus, address=address)
        config: ClientConfig = {
            "data_identifiers": {
                FLUID_IDENTIFIER: Byte,
                PARK_IDENTIFIER: Byte,
                0xF190: AsciiCodec(17),
            },
            "request_timeout": timeout_s,
            "p2_timeout": timeout_s,
            "p2_star_timeout": p2_star_s,
            "use_server_timing": False,
        }
        return Client(PythonIsoTpConnection(stack), config=config)

    def ask(
        self, can_id: int, payload: bytes, units: tuple[int, ...] = (0x7E8, 0x7E9)
    ) -> dict[int, bytes]:
        """Send single frames by hand and return whole answers by CAN identifier."""
        stacks = {
            answer: isotp.CanStack(
                self.bus if answer == 0x7E8 else self.listener,
                address=isotp.Address(txid=answer - 8, rxid=answer),
            )
            for answer in units
        }
        self.bus.send(
            can.Message(
                arbitration_id=can_id,
                data=bytes([len(payload)]) + payload.ljust(7, b"\xcc"),
                is_extended_id=False,
            )
        )
        found = {}
        for answer, stack in stacks.items():
            stack.start()
            received = stack.recv(block=True, timeout=1.0 if len(units) == 1 else 0.3)
            stack.stop()
            if received is not None:
                found[answer] = bytes(received)
        return found

    def close(self) -> None:
        self.vehicle.close()
        self.bus.shutdown()
        self.listener.shutdown()


@pytest.fixture
def bench(state: State) -> Iterator[Bench]:
    made = Bench(state)
    yield made
    made.close()


def bitmap_rows() -> list[dict[str, str]]:
    with (SHARED / "j1979_bitmaps.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_bitmaps_of_the_table() -> None:
    """Encoding the PIDs of each published bitmap gives the published bytes."""
    rows = bitmap_rows()
    assert len(rows) == 9
    for row in rows:
        block = int(row["pid_hex"], 16)
        pids = {int(pid, 16): None for pid in row["supported_pids_hex"].split()}
        last = block + 0x20
        if last in pids:  # the chain goes on because there is something further up
            pids[last + 1] = None
            del pids[last]
        assert bitmap(block, pids).hex().upper() == row["response_hex"][4:], row["note"]


def test_current_data_by_functional_request(bench: Bench, state: State) -> None:
    """One functional request for three PIDs is answered by the engine alone, in one payload.

    The layout is the third case of j1979_conduct.csv: 41 05 xx 0C xx xx 0D xx, 8 bytes, segmented.
    """
    answers = bench.ask(0x7DF, bytes.fromhex("01050C0D"))
    assert set(answers) == {0x7E8}
    payload = answers[0x7E8]
    assert len(payload) == 8
    assert (payload[0], payload[1], payload[3], payload[6]) == (0x41, 0x05, 0x0C, 0x0D)
    assert payload[2] - 40 == int(state.temps.coolant_c)
    assert int.from_bytes(payload[4:6], "big") / 4 == pytest.approx(state.engine_rpm, abs=0.13)
    assert payload[7] == round(state.demand.speed_kmh)


def test_every_offered_parameter_answers(bench: Bench) -> None:
    """Walking the bitmaps from 00 leads to exactly the parameters there are, and each answers."""
    offered: set[int] = set()
    block = 0
    while True:
        payload = bench.ask(0x7E0, bytes([0x01, block]), (0x7E8,))[0x7E8]
        bits = int.from_bytes(payload[2:6], "big")
        offered |= {block + n for n in range(1, 33) if bits >> (32 - n) & 1}
        if block + 0x20 not in offered:
            break
        offered.discard(block + 0x20)
        block += 0x20
    assert offered == set(ENGINE_PARAMETERS)
    for pid in offered:
        assert bench.ask(0x7E0, bytes([0x01, pid]), (0x7E8,))[0x7E8][:2] == bytes([0x41, pid])


def test_unsupported_parameter_is_silence(bench: Bench) -> None:
    """A PID that no unit has is met by silence on CAN (j1979_conduct.csv)."""
    assert bench.ask(0x7DF, b"\x01\x5c") == {}


def test_fluid_by_udsoncan(bench: Bench, state: State) -> None:
    """An independent client reads the fluid and the selector, one by one and together."""
    with bench.client() as client:
        fluid = client.read_data_by_identifier(FLUID_IDENTIFIER)
        both = client.read_data_by_identifier([FLUID_IDENTIFIER, PARK_IDENTIFIER])
    assert fluid.service_data.values[FLUID_IDENTIFIER] == int(state.fluid_c) + 40
    assert both.service_data.values[FLUID_IDENTIFIER] == int(state.fluid_c) + 40
    assert both.service_data.values[PARK_IDENTIFIER] == int(state.demand.in_park)


def test_session_and_presence_by_udsoncan(bench: Bench) -> None:
    """The default session's times and the presence answer are those that udsoncan expects."""
    with bench.client() as client:
        session = client.change_session(1)
        present = client.tester_present()
    assert session.service_data.p2_server_max == pytest.approx(0.05)
    assert session.service_data.p2_star_server_max == pytest.approx(5.0)
    assert present.positive


@pytest.mark.parametrize(
    ("request_hex", "code"),
    [("229999", 0x31), ("22", 0x13), ("222A", 0x13), ("19", 0x11), ("1003", 0x12)],
)
def test_refusals(state: State, request_hex: str, code: int) -> None:
    """What a unit does not know is refused by the standard's code, and udsoncan reads it so."""
    request = bytes.fromhex(request_hex)
    (answer,) = transmission_unit().answers(request, state)
    assert answer.payload == bytes([0x7F, request[0], code])
    parsed = Response.from_payload(answer.payload)
    assert not parsed.positive
    assert parsed.code == code


def test_refusal_is_kept_back_when_all_were_asked(state: State) -> None:
    """Codes 11, 12 and 31 are not sent in answer to a functional request."""
    unit = transmission_unit()
    assert unit.answers(b"\x22\x99\x99", state, functional=True) == []
    assert unit.answers(b"\x19\x02", state, functional=True) == []
    assert unit.answers(b"\x22\x2a\x17", state, functional=True) != []


def test_mirror(state: State) -> None:
    """F4xx answers what PID xx answers (uds_cases.csv, F405 mirrors 05)."""
    (mirrored,) = engine_unit().answers(b"\x22\xf4\x05", state)
    (plain,) = engine_unit().answers(b"\x01\x05", state)
    assert mirrored.payload == b"\x62\xf4\x05" + plain.payload[2:]


def test_suppressed_presence(state: State) -> None:
    """3E 80 asks for no answer."""
    assert transmission_unit().answers(b"\x3e\x80", state) == []


def test_pending(bench: Bench, state: State) -> None:
    """After several `response pending` the answer still comes, and udsoncan waits for it."""
    bench.transmission.faults.pending = 3
    with bench.client(timeout_s=1.0, p2_star_s=1.0) as client:
        fluid = client.read_data_by_identifier(FLUID_IDENTIFIER)
    assert fluid.service_data.values[FLUID_IDENTIFIER] == int(state.fluid_c) + 40


def test_busy_runs_down(bench: Bench) -> None:
    """A busy unit says 21, and answers once it is no longer busy."""
    bench.transmission.faults.busy = 1
    with bench.client() as client:
        with pytest.raises(NegativeResponseException) as caught:
            client.read_data_by_identifier(FLUID_IDENTIFIER)
        assert caught.value.response.code == 0x21
        assert client.read_data_by_identifier(FLUID_IDENTIFIER).positive


def test_refusal_switch(bench: Bench) -> None:
    """The refusal switch makes service 22 answer with the code that was set."""
    bench.transmission.faults.refusal = 0x33
    with bench.client() as client, pytest.raises(NegativeResponseException) as caught:
        client.read_data_by_identifier(FLUID_IDENTIFIER)
    assert caught.value.response.code == 0x33


@pytest.mark.parametrize("switch", ["silent", "ignition_off"])
def test_silence(bench: Bench, switch: str) -> None:
    """A silent unit lets the client run into its timeout, and answers again when switched back."""
    setattr(bench.transmission.faults, switch, True)
    with bench.client(timeout_s=0.15) as client:
        with pytest.raises(TimeoutException):
            client.read_data_by_identifier(FLUID_IDENTIFIER)
        setattr(bench.transmission.faults, switch, False)
        assert client.read_data_by_identifier(FLUID_IDENTIFIER).positive


def test_sensor_code(state: State) -> None:
    """The sensor switch replaces the fluid's byte and nothing else."""
    unit: ControlUnit = transmission_unit()
    unit.faults.sensor_code = 0x00
    (answer,) = unit.answers(bytes.fromhex("222A172A18"), state)
    assert answer.payload == bytes.fromhex("622A17002A18") + bytes([state.demand.in_park])
