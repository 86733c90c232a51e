"""Segmentation against the published exchange and faults, and against can-isotp."""

from collections import deque

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.signals.rows import rows
from warmwatch.links.python_can import isotp
from warmwatch.signals.isotp import Assembler, frame_fault, single_frame

ROWS = rows("isotp_cases.csv")
GOOD = bytes.fromhex("62F190") + b"0123456789ABCDEFG"
FAULTS = [row for row in ROWS if row["case"].startswith("bad")]


@pytest.mark.parametrize("addressing", ["normal", "extended"])
def test_the_published_exchange_is_put_together(addressing: str) -> None:
    """Every frame of the unit, in both ways of addressing, gives the 20-byte answer at the end."""
    steps = [r for r in ROWS if r["case"] == "good exchange" and r["addressing"] == addressing]
    prefix = 1 if addressing == "extended" else 0
    assembler = Assembler(extended=bool(prefix))
    frames = [bytes.fromhex(r["bytes"])[prefix:] for r in steps if r["sender"] == "unit"]
    results = [assembler.receive(frame) for frame in frames]
    assert [result.payload for result in results] == [None] * (len(frames) - 1) + [GOOD]
    assert not any(result.fault for result in results)
    asked = bytes.fromhex(steps[0]["bytes"])[prefix:]
    ours = single_frame(bytes.fromhex("22F190"))[: len(asked)]
    assert ours == asked


@pytest.mark.parametrize("row", FAULTS, ids=lambda row: row["case"])
def test_every_published_fault_is_refused(row: dict[str, str]) -> None:
    """A faulty exchange gives no payload and says why; the frame that cuts in is taken."""
    assembler = Assembler(longest=200)
    frames = [bytes.fromhex(part) for part in row["bytes"].split("|") if part.strip()]
    results = [assembler.receive(frame) for frame in frames]
    payloads = [result.payload for result in results if result.payload is not None]
    if "interrupts" in row["case"]:
        assert payloads == [bytes.fromhex("410582")]
    else:
        assert payloads == []
    waits = ("missing (N_Cr)" in row["case"], "flow control" in row["case"])
    if not any(waits):  # a missing frame shows by time; flow control concerns the sender only
        assert results[-1].fault
        assert not assembler.waiting
    assembler.reset()
    assert not assembler.waiting


def test_nothing_follows_a_wrong_sequence_number() -> None:
    """After N_WRONG_SN the rest of that answer is not taken for anything."""
    assembler = Assembler()
    assembler.receive(bytes.fromhex("101462F190303132"))
    assert assembler.receive(bytes.fromhex("2330303030343342")).fault
    assert assembler.receive(bytes.fromhex("2133343536373839")).payload is None


def _played(payload: bytes) -> list[bytes]:
    """Return the frames that can-isotp, as the independent sender, makes of a payload."""
    sent: list[bytes] = []
    inbox: deque[isotp.CanMessage] = deque()

    def send(message: isotp.CanMessage) -> None:
        sent.append(bytes(message.data))
        if message.data[0] >> 4 == 1:
            inbox.append(isotp.CanMessage(arbitration_id=0x7E0, data=bytes([0x30, 0, 0])))

    sender = isotp.TransportLayerLogic(
        rxfn=lambda _wait: inbox.popleft() if inbox else None,
        txfn=send,
        address=isotp.Address(isotp.AddressingMode.Normal_11bits, txid=0x7E8, rxid=0x7E0),
        params={"tx_padding": 0x55},
    )
    sender.send(payload)
    while sender.transmitting():
        sender.process()
    return sent


@given(st.binary(min_size=1, max_size=300))
def test_what_can_isotp_cuts_up_we_put_together(payload: bytes) -> None:
    """Any payload survives, whatever its length (the counter runs past F)."""
    assembler = Assembler()
    results = [assembler.receive(frame) for frame in _played(payload)]
    assert results[-1].payload == payload
    assert all(result.payload is None for result in results[:-1])


@given(st.binary(min_size=8, max_size=60), st.data())
def test_a_lost_or_cut_frame_never_gives_a_payload(payload: bytes, data: st.DataObject) -> None:
    """Without a frame nothing is whole; one cut short gives nothing, or only lost its padding."""
    frames = _played(payload)
    at = data.draw(st.integers(1, len(frames) - 1))
    short = frames[at][: data.draw(st.integers(1, 7))]
    for damaged, allowed in (([], {None}), ([short], {None, payload})):
        assembler = Assembler()
        results = [assembler.receive(f) for f in frames[:at] + damaged + frames[at + 1 :]]
        assert {result.payload for result in results} <= allowed


@given(st.lists(st.binary(max_size=8), max_size=20))
def test_no_bytes_break_the_assembler(frames: list[bytes]) -> None:
    """Whatever comes is a payload, a fault or a wait, and a payload is never empty."""
    assembler = Assembler()
    for frame in frames:
        assert assembler.receive(frame).payload != b""


def test_a_first_frame_of_seven_bytes_is_ignored() -> None:
    """The standard ignores it although can-isotp 2.0.7 does not (isotp_cases.csv); extended: 6."""
    assert "only 7" in frame_fault(bytes.fromhex("100762F190303132"))
    assert frame_fault(bytes.fromhex("100862F190303132")) == ""
    assert frame_fault(bytes.fromhex("100762F1903031"), extended=True) == ""
    assert "only 6" in frame_fault(bytes.fromhex("100662F1903031"), extended=True)
