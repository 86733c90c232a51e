"""`can:` when frames go wrong on the bus: every row of isotp_cases.csv, played by hand."""

import time
import uuid
from collections.abc import Iterator

import pytest

from tests.signals.rows import rows
from warmwatch.links.asking.units import NORMAL, Addressing, Unit
from warmwatch.links.can.chunks import ChunkedPort
from warmwatch.links.can.transport import Transport
from warmwatch.links.python_can import can
from warmwatch.signals.isotp import CONSECUTIVE_TIMEOUT_S

ROWS = rows("isotp_cases.csv")
BAD = [row for row in ROWS if row["case"].startswith("bad")]
SENT = {"sent ['30 00 00']": "30", "sent ['32 00 00']": "32", "sent nothing": ""}


class Pair:
    """Our transport, and a bus object at the far end of the same virtual channel."""

    def __init__(self, addressing: Addressing = NORMAL) -> None:
        channel = uuid.uuid4().hex
        self.far = can.Bus(interface="virtual", channel=channel)
        self.near = Transport(can.Bus(interface="virtual", channel=channel), addressing)

    def play(self, frame: str) -> list[bytes]:
        """Send a frame of unit 7E8 and return the payloads that are complete then."""
        self.far.send(
            can.Message(arbitration_id=0x7E8, data=bytes.fromhex(frame), is_extended_id=False)
        )
        return [payload for _, payload in self.near.receive(0.2)]

    def sent(self) -> list[str]:
        found = []
        while (message := self.far.recv(0)) is not None:
            assert message.arbitration_id == 0x7E0
            found.append(bytes(message.data).hex().upper())
        return found

    def close(self) -> None:
        self.far.shutdown()
        self.near.close()


@pytest.fixture
def pair() -> Iterator[Pair]:
    """A transport on 11 bits."""
    made = Pair()
    yield made
    made.close()


@pytest.mark.parametrize("addressing", ["normal", "extended"])
def test_the_published_exchange_takes_place_byte_for_byte(addressing: str) -> None:
    """Our request and flow control are the published frames; the answer is put together."""
    steps = [r for r in ROWS if r["case"] == "good exchange" and r["addressing"] == addressing]
    unit = Unit(0x7E8, 0x7E0, 0x18 if addressing == "extended" else None)
    only = unit if addressing == "extended" else None
    pair = Pair(Addressing(addressing, None, only))
    try:
        pair.near.send(bytes.fromhex("22F190"), unit)
        payloads = []
        for step in steps:
            if step["sender"] == "tester":
                assert pair.sent() == [step["bytes"].replace(" ", "")]
            else:
                payloads += pair.play(step["bytes"])
        assert payloads == [bytes.fromhex("62F190") + b"0123456789ABCDEFG"]
    finally:
        pair.close()


@pytest.mark.parametrize("row", BAD, ids=lambda row: row["case"])
def test_every_published_fault_is_handled(pair: Pair, row: dict[str, str]) -> None:
    """No fault gives a payload; flow control goes out only where the standard wants it."""
    payloads = [p for frame in row["bytes"].split("|") if frame.strip() for p in pair.play(frame)]
    interrupted = "interrupts" in row["case"]
    assert payloads == ([bytes.fromhex("410582")] if interrupted else [])
    if "7 bytes" in row["case"]:
        expected = ""  # the standard's way; can-isotp would send flow control
    else:
        expected = next((kind for text, kind in SENT.items() if text in row["library"]), "")
    assert [frame[:2] for frame in pair.sent()] == ([expected] if expected else [])


def test_a_missing_frame_ends_the_wait(pair: Pair) -> None:
    """N_Cr: a second after the last frame the half answer is dropped, and the next one is read."""
    assert pair.play("10 14 62 F1 90 30 31 32") == []
    waited_from_s = time.monotonic()
    while pair.near.receiving:
        assert pair.near.receive(0.05) == []
        assert time.monotonic() - waited_from_s < CONSECUTIVE_TIMEOUT_S + 2.0
    assert time.monotonic() - waited_from_s > CONSECUTIVE_TIMEOUT_S / 2
    assert pair.play("03 41 05 82 00 00 00 00") == [bytes.fromhex("410582")]


def test_a_segment_that_is_cut_short_ends_the_answer(pair: Pair) -> None:
    """A short frame in the middle would shift what follows (can-isotp 2.0.7 takes it); it ends."""
    assert pair.play("10 0F 62 12 34 01 02 03") == []
    assert pair.play("21 04 05 06") == []
    assert pair.play("22 0B 0C 55 55 55 55 55") == []
    assert pair.play("10 0F 62 12 34 01 02 03") == []
    assert pair.play("21 04 05 06 07 08 09 0A") == []
    whole = bytes.fromhex("62 12 34 01 02 03 04 05 06 07 08 09 0A 0B 0C")
    assert pair.play("22 0B 0C") == [whole]  # the last one may end where the answer does


def test_frames_of_others_are_not_looked_at(pair: Pair) -> None:
    """Other identifiers, error and remote frames on the same bus give nothing and break nothing."""
    for message in (
        can.Message(arbitration_id=0x123, data=bytes(8), is_extended_id=False),
        can.Message(arbitration_id=0x7E8, data=bytes(8), is_extended_id=True),
        can.Message(arbitration_id=0x7E8, is_remote_frame=True, dlc=8, is_extended_id=False),
        can.Message(arbitration_id=0x7E8, data=b"", is_extended_id=False),
        can.Message(is_error_frame=True),
    ):
        pair.far.send(message)
    assert pair.near.receive(0.2) == []
    assert pair.near.bus_errors == 1
    assert pair.sent() == []


class _Port:
    """A serial port that holds some bytes."""

    def __init__(self, data: bytes) -> None:
        self.data, self.reads, self.write_timeout = data, 0, None

    @property
    def in_waiting(self) -> int:
        return len(self.data)

    def read(self, size: int) -> bytes:
        self.reads += 1
        found, self.data = self.data[:size], self.data[size:]
        return found

    def reset_input_buffer(self) -> None:
        self.data = b""


def test_a_port_is_read_by_chunks() -> None:
    """Byte by byte for the driver, one call to the system; nothing is lost or repeated."""
    port = _Port(b"T18FEF8038\r")
    chunked = ChunkedPort(port)
    assert chunked.in_waiting == 11
    assert b"".join(chunked.read(1) for _ in range(11)) == b"T18FEF8038\r"
    assert port.reads == 1
    assert chunked.read(1) == b""
    port.data = b"abc"
    assert chunked.read(1) == b"a"
    chunked.reset_input_buffer()
    assert chunked.in_waiting == 0
    chunked.write_timeout = 1.0
    assert port.write_timeout == 1.0
