"""What the invented control units answer: request payload in, answer payloads out, no I/O.

Service 01 follows SAE J1979 / ISO 15031-5 (support bitmaps, up to six PIDs in one request, silence
where nothing is supported). Services 10, 22 and 3E follow ISO 14229-1. The identifiers of the
transmission unit are invented; no vehicle is known to have them.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from warmwatch.demo.simulation import State
from warmwatch.signals.obd import BLOCK, MAX_PIDS, MIRROR

FLUID_IDENTIFIER = 0x2A17
PARK_IDENTIFIER = 0x2A18

GENERAL_SERVICE, WRONG_LENGTH, BUSY, OUT_OF_RANGE, PENDING = 0x11, 0x13, 0x21, 0x31, 0x78
_SUPPRESSED = frozenset({0x11, 0x12, OUT_OF_RANGE})
"""Codes that a unit keeps to itself when it was asked functionally (ISO 14229-1, from memory)."""

Encoder = Callable[[State], bytes]


@dataclass(slots=True)
class Faults:
    """Switches for tests: what is wrong with a unit. Counts run down with each request."""

    ignition_off: bool = False
    silent: bool = False
    busy: int = 0
    """So many requests are answered `busy, repeat the request` (21)."""
    pending: int = 0
    """So many `response pending` (78) come before each answer of service 22."""
    pending_s: float = 0.02
    """Real seconds before each further answer while pending."""
    refusal: int | None = None
    """Service 22 is refused with this code."""
    sensor_code: int | None = None
    """The fluid's byte is this one, whatever the fluid does (00 and FF are usual codes)."""


@dataclass(frozen=True, slots=True)
class UnitAnswer:
    """A payload to send, `after_s` real seconds after the one before."""

    payload: bytes
    after_s: float = 0.0


def _temperature(t_c: float) -> bytes:
    """One byte, whole degrees rounded down, counted from -40 degC."""
    return _byte(math.floor(t_c) + 40)


def _byte(number: float) -> bytes:
    return bytes([min(0xFF, max(0, round(number)))])


def _word(number: float) -> bytes:
    return min(0xFFFF, max(0, round(number))).to_bytes(2, "big")


ENGINE_PARAMETERS: Mapping[int, Encoder] = {
    0x04: lambda state: _byte(state.demand.load_pct * 2.55),
    0x05: lambda state: _temperature(state.temps.coolant_c),
    0x0C: lambda state: _word(state.engine_rpm * 4.0),
    0x0D: lambda state: _byte(state.demand.speed_kmh),
    0x11: lambda state: _byte(state.demand.throttle_pct * 2.55),
    0x1F: lambda state: _word(state.elapsed_s),
    0x42: lambda state: _word(state.voltage_v * 1000.0),
    0x46: lambda state: _temperature(state.ambient_c),
}


@dataclass(slots=True)
class ControlUnit:
    """One unit: where it listens and answers (11-bit), what it knows, and what is wrong with it."""

    request_id: int
    answer_id: int
    parameters: Mapping[int, Encoder] = field(default_factory=dict)
    identifiers: Mapping[int, Encoder] = field(default_factory=dict)
    faults: Faults = field(default_factory=Faults)

    def answers(self, request: bytes, state: State, functional: bool = False) -> list[UnitAnswer]:
        """Return what the unit sends for a request, in order; empty for silence."""
        faults = self.faults
        if not request or faults.silent or faults.ignition_off:
            return []
        if faults.busy > 0:
            faults.busy -= 1
            return [UnitAnswer(_negative(request, BUSY))]
        payload = self._answer(request, state)
        if not payload or (functional and payload[0] == 0x7F and payload[2] in _SUPPRESSED):
            return []
        if request[0] != 0x22 or faults.pending == 0:
            return [UnitAnswer(payload)]
        waits = [UnitAnswer(_negative(request, PENDING), faults.pending_s)] * faults.pending
        return [*waits, UnitAnswer(payload, faults.pending_s)]

    def _answer(self, request: bytes, state: State) -> bytes:
        match request[0]:
            case 0x01 if self.parameters:
                return self._current_data(request[1:], state)
            case 0x22:
                return self._identified(request, state)
            case 0x10:
                return _session(request)
            case 0x3E:
                return b"" if request[1:] == b"\x80" else b"\x7e\x00"
        return _negative(request, GENERAL_SERVICE)

    def _current_data(self, pids: bytes, state: State) -> bytes:
        if not 1 <= len(pids) <= MAX_PIDS:
            return b""
        records = b"".join(
            bytes([pid]) + self._record(pid, state) for pid in pids if self._has(pid)
        )
        return b"\x41" + records if records else b""

    def _has(self, pid: int) -> bool:
        return pid in self.parameters or (pid % BLOCK == 0 and self._offers(pid))

    def _offers(self, block: int) -> bool:
        return block == 0 or any(pid > block for pid in self.parameters)

    def _record(self, pid: int, state: State) -> bytes:
        if pid % BLOCK == 0:
            return bitmap(pid, self.parameters)
        return self.parameters[pid](state)

    def _identified(self, request: bytes, state: State) -> bytes:
        asked = request[1:]
        if not asked or len(asked) % 2:
            return _negative(request, WRONG_LENGTH)
        if self.faults.refusal is not None:
            return _negative(request, self.faults.refusal)
        records = b""
        for at in range(0, len(asked), 2):
            identifier = int.from_bytes(asked[at : at + 2], "big")
            encoder = self._encoder(identifier)
            if encoder is not None:
                records += asked[at : at + 2] + self._coded(identifier, encoder(state))
        return b"\x62" + records if records else _negative(request, OUT_OF_RANGE)

    def _encoder(self, identifier: int) -> Encoder | None:
        if identifier & 0xFF00 == MIRROR:
            return self.parameters.get(identifier & 0xFF)
        return self.identifiers.get(identifier)

    def _coded(self, identifier: int, record: bytes) -> bytes:
        code = self.faults.sensor_code
        return record if code is None or identifier != FLUID_IDENTIFIER else bytes([code])


def bitmap(block: int, known: Mapping[int, object]) -> bytes:
    """Return the four support bytes of a block (00, 20, 40 ...), its last bit for the next one."""
    bits = 0
    for pid in known:
        if block < pid <= block + BLOCK:
            bits |= 1 << (BLOCK - (pid - block))
    if any(pid > block + BLOCK for pid in known):
        bits |= 1
    return bits.to_bytes(4, "big")


def _session(request: bytes) -> bytes:
    if request[1:] == b"\x01":
        return bytes.fromhex("5001003201F4")  # P2 50 ms, P2* 5000 ms
    return _negative(request, 0x12)


def _negative(request: bytes, code: int) -> bytes:
    return bytes([0x7F, request[0], code])


def engine_unit() -> ControlUnit:
    """Return the invented engine unit, at 7E0 and 7E8."""
    return ControlUnit(0x7E0, 0x7E8, parameters=ENGINE_PARAMETERS)


def transmission_unit() -> ControlUnit:
    """Return the invented transmission unit, at 7E1 and 7E9."""
    return ControlUnit(
        0x7E1,
        0x7E9,
        identifiers={
            FLUID_IDENTIFIER: lambda state: _temperature(state.fluid_c),
            PARK_IDENTIFIER: lambda state: _byte(state.demand.in_park),
        },
    )
