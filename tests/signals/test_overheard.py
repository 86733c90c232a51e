"""Listening to ISO-TP that others speak."""

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.signals.rows import rows
from warmwatch.signals.overheard import MOST_KEPT, REQUEST_S, Exchanged, Overheard

Frame = tuple[int, str]
# Invented; ISO 15765-2: first frame 1LLL, flow control 30, consecutive frame 21.
LONG = [(0x7E9, "100A621234010203"), (0x7E1, "3000000000000000"), (0x7E9, "2104050607AAAAAA")]
ASKED = (0x7E1, "0322123400000000")


def heard(frames: list[Frame], named: dict[int, bool] | None = None) -> list[Exchanged]:
    return list(_heard(Overheard(named or {}), frames))


def _heard(overheard: Overheard, frames: list[Frame]) -> Iterator[Exchanged]:
    for number, (can_id, data) in enumerate(frames):
        found = overheard.hear(can_id, can_id > 0x7FF, bytes.fromhex(data), number / 10)
        if found is not None:
            yield found


def test_a_segmented_answer_belongs_to_its_request() -> None:
    """First frame, flow control, consecutive frame: one answer, with what was asked."""
    (found,) = heard([ASKED, *LONG])
    assert found.answer == bytes.fromhex("62123401020304050607")
    assert found.identifiers == (0x1234,)
    assert found.service == 0x22


@pytest.mark.parametrize("addressing", ["normal", "extended"])
def test_the_published_exchange(addressing: str) -> None:
    """The 20-byte answer of isotp_cases.csv, with both ways of addressing."""
    steps = [row for row in rows("isotp_cases.csv") if row["case"] == "good exchange"]
    frames = [
        (int(row["can_id"], 16), row["bytes"].replace(" ", ""))
        for row in steps
        if row["addressing"] == addressing
    ]
    named = {0x7E0: True, 0x7E8: True} if addressing == "extended" else {}
    (found,) = heard(frames, named)
    assert found.answer == b"\x62\xf1\x90" + b"0123456789ABCDEFG"
    assert found.identifiers == (0xF190,)


def test_other_traffic_in_between_does_not_matter() -> None:
    """Frames of other identifiers, and another unit's answer, come between the segments."""
    mixed: list[Frame] = [(0x123, "1122"), (0x7DF, "02010C0000000000"), ASKED, LONG[0], LONG[1]]
    mixed += [(0x7E8, "04410C0C30000000"), (0x18FEF803, "FFFFFFFFC02CFFFF"), LONG[2]]
    answers = {found.can_id: found for found in heard(mixed)}
    assert answers[0x7E8].answer.hex() == "410c0c30"
    assert answers[0x7E8].identifiers == (0x0C,)
    assert answers[0x7E9].answer == bytes.fromhex("62123401020304050607")


def test_a_missing_segment_gives_no_answer() -> None:
    """A consecutive frame that was lost, or came too late, is an answer less."""
    longer = [(0x7E9, "1011621234010203"), (0x7E9, "2204050607AAAAAA")]
    assert heard([ASKED, *longer]) == []
    overheard = Overheard({})
    overheard.hear(*_wide(LONG[0]), 0.0)
    assert overheard.hear(*_wide(LONG[2]), 1.5) is None


def _wide(frame: Frame) -> tuple[int, bool, bytes]:
    return frame[0], frame[0] > 0x7FF, bytes.fromhex(frame[1])


def test_29_bits_and_the_address_of_all() -> None:
    """Fixed addressing: 18DB33F1 asks everybody, 18DAF1xx answers."""
    found = heard([(0x18DB33F1, "0201050000000000"), (0x18DAF118, "0341055A00000000")])
    assert [(one.can_id, one.wide, one.identifiers) for one in found] == [(0x18DAF118, True, (5,))]


def test_extended_addressing_where_it_is_named() -> None:
    """An address byte stands in front of each frame of the two named identifiers."""
    frames = [(0x6F1, "1803221234000000"), (0x618, "F104621234560000")]
    (found,) = heard(frames, {0x6F1: True, 0x618: True})
    assert found.answer.hex() == "62123456"
    assert heard(frames) == []


def test_a_look_alike_without_a_request_is_nothing() -> None:
    """Outside the legislated identifiers an answer counts only behind its request."""
    assert heard([(0x650, "0462123456000000")]) == []
    assert len(heard([(0x640, "0322123400000000"), (0x650, "0462123456000000")])) == 1
    assert len(heard([(0x7E9, "0462123456000000")])) == 1


def test_a_request_is_forgotten() -> None:
    """An answer long after is not put to it."""
    overheard = Overheard({})
    overheard.hear(*_wide((0x640, "0322123400000000")), 0.0)
    assert overheard.hear(*_wide((0x650, "0462123456000000")), REQUEST_S + 1) is None


def test_a_refusal_is_put_to_the_unit_that_was_asked() -> None:
    """7F 22 31 behind 22 1234: what was refused is known; behind a question to all it is not."""
    (found,) = heard([ASKED, (0x7E9, "037F223100000000")])
    assert (found.service, found.identifiers) == (0x22, (0x1234,))
    (found,) = heard([(0x7DF, "0322123400000000"), (0x7E9, "037F223100000000")])
    assert found.identifiers == ()


@given(st.lists(st.tuples(st.integers(0, 0x1FFFFFFF), st.binary(max_size=8)), max_size=300))
def test_no_traffic_breaks_it_or_makes_it_grow(frames: list[tuple[int, bytes]]) -> None:
    """Any frames: no crash, and bounded memory."""
    overheard = Overheard({})
    for number, (can_id, data) in enumerate(frames):
        for at in (can_id, 0x700 + can_id % 256):
            overheard.hear(at, at > 0x7FF, data, number / 100)
    assert len(overheard._lines) <= MOST_KEPT
