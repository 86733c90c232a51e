"""`can:` against a vehicle whose frames are lost, cut, repeated and garbled at random."""

import random
import uuid
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.links.can_runs import FLUID_FILE, watch
from tests.vehicle.player import Player
from tests.vehicle.units import TestUnit

pytestmark = pytest.mark.slow

QUICK = "interface=virtual&poll=0.02&answer=0.05&addressing=normal"
TRUE_C = {40.0, 85.3, 120.4}
TRUE_RPM = {750.0, 1726.0}


def cut(data: bytearray, chance: random.Random) -> None:
    del data[chance.randrange(len(data)) :]


def wrong_type(data: bytearray, chance: random.Random) -> None:
    data[0] = chance.randrange(16) << 4 | data[0] & 0x0F


def wrong_length(data: bytearray, chance: random.Random) -> None:
    data[0] = data[0] & 0xF0 | chance.randrange(16)


def wrong_service(data: bytearray, chance: random.Random) -> None:
    data[1] = chance.randrange(256)


def wrong_echo(data: bytearray, chance: random.Random) -> None:
    width = 1 if data[1] == 0x41 else 2
    data[2 + chance.randrange(width)] ^= 1 << chance.randrange(8)


def refusal(data: bytearray, chance: random.Random) -> None:
    data[:] = bytes([0x03, 0x7F, 0x22, chance.choice([0x21, 0x22, 0x94])]) + bytes(4)


FAULTS: list[Callable[[bytearray, random.Random], None]] = [
    cut, wrong_type, wrong_length, wrong_service, wrong_echo, refusal,
]  # fmt: skip


class FaultyPlayer(Player):
    """Spoils every third frame or so, but not the bytes that carry values: a CRC keeps those."""

    chance: random.Random
    spoilt = 0

    def _frame(self, unit: TestUnit, data: bytes) -> None:
        for other in self.units:
            if 0x1234 in other.dids:  # the fluid changes all the time
                counts = round(self.chance.choice(sorted(TRUE_C)) * 10)
                other.dids[0x1234] = counts.to_bytes(2, "big") + other.dids[0x1234][2:]
        segmented = self.units[1].dids[0x1234][2:]
        if self.chance.random() < (0.85 if segmented else 0.65):
            super()._frame(unit, data)
            return
        self.spoilt += 1
        what = self.chance.randrange(len(FAULTS) + 3)
        if what < len(FAULTS):
            spoilt = bytearray(data.ljust(8, b"\x55"))
            is_segment = data[0] >> 4 != 0
            fault = (
                cut if is_segment and FAULTS[what] in (wrong_service, wrong_echo) else FAULTS[what]
            )
            fault(spoilt, self.chance)
            self.send(unit.answer_id, bytes(spoilt))
        elif what == len(FAULTS):
            super()._frame(unit, data)
            super()._frame(unit, data)
        elif what == len(FAULTS) + 1:
            self.send(unit.answer_id + 2, data.ljust(8, b"\x55"))
        # else: the frame is lost


@pytest.mark.parametrize(("seed", "record_length"), [(1, 2), (2, 2), (1, 12)])
def test_no_fault_becomes_a_wrong_value(tmp_path: Path, seed: int, record_length: int) -> None:
    """Every undoubted value is one that the vehicle really had, in single and segmented answers."""
    path = tmp_path / "vehicle.toml"
    text = FLUID_FILE.replace("record_length = 2", f"record_length = {record_length}")
    path.write_text(text + "target = 0x7E1\n", encoding="utf-8")
    gearbox = TestUnit(
        0x7E1, 0x7E9, dids={0x1234: bytes.fromhex("0355") + b"\x11" * (record_length - 2)}
    )
    engine = TestUnit(0x7E0, 0x7E8, pids={0x0C: bytes.fromhex("0BB8"), 0x05: b"\x82"})
    channel = uuid.uuid4().hex
    player = FaultyPlayer(channel, [engine, gearbox])
    player.chance = random.Random(seed)
    with player:
        run = watch(f"can:{channel}?{QUICK}&signals={path}", lambda run: len(run.fluid) > 12, 45.0)
    assert player.spoilt >= 5
    for reading in run.readings:
        if "fluid_c" in reading.values and "fluid_c" not in reading.doubts:
            assert reading.values["fluid_c"] in TRUE_C
        assert reading.values.get("engine_rpm", 750.0) in TRUE_RPM
        assert reading.values.get("coolant_c", 90.0) == 90.0
