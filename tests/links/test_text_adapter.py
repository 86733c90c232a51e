"""The machine that reads a text adapter's answers: whole, in pieces, spoilt."""

import csv
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.links.serial.adapter import (
    AnswerReader,
    Headers,
    Payload,
    Word,
    headers_in,
    read_answer,
)

CASES = Path(__file__).parents[2] / "shared" / "isotp_cases.csv"
GOOD = "7E9056212340190AAAA\r\r"
FLUID = Payload(0x7E9, bytes.fromhex("6212340190"))


def isotp_rows(start: str) -> list[dict[str, str]]:
    with CASES.open(encoding="utf-8", newline="") as file:
        return [row for row in csv.DictReader(file) if row["case"].startswith(start)]


def as_text(frames: str, spaces: bool) -> str:
    """Write the frames of a reference row as an adapter shows them."""
    lines = [f"7E8 {frame.strip()}" for frame in frames.split("|")]
    return "".join((line if spaces else line.replace(" ", "")) + "\r" for line in lines) + "\r"


@pytest.mark.parametrize("spaces", [True, False])
def test_the_reference_exchange_is_put_together(spaces: bool) -> None:
    """The 20-byte answer of isotp_cases.csv comes out whole (ISO 15765-2)."""
    rows = [
        row
        for row in isotp_rows("good exchange")
        if row["addressing"] == "normal" and row["sender"] == "unit"
    ]
    text = as_text(" | ".join(row["bytes"] for row in rows), spaces)
    answer = read_answer(text, "22F190", Headers.BITS_11)
    assert answer.payloads == (Payload(0x7E8, b"\x62\xf1\x900123456789ABCDEFG"),)


def faulty_answers() -> Iterator[tuple[str, str]]:
    for row in isotp_rows("bad:"):
        if row["sender"] == "unit" and len(row["bytes"].split("|")[0].split()) == 8:
            yield row["case"], row["bytes"]


@pytest.mark.parametrize(("case", "frames"), list(faulty_answers()))
def test_the_reference_faults_give_nothing(case: str, frames: str) -> None:
    """Every faulty segmentation of isotp_cases.csv makes the whole answer unreadable."""
    answer = read_answer(as_text(frames, spaces=False), "22F190", Headers.BITS_11)
    assert answer.unreadable, case
    assert answer.payloads == ()


@pytest.mark.parametrize(
    ("text", "headers"),
    [
        (GOOD, Headers.BITS_11),
        ("7E9 05 62 12 34 01 90 AA AA \r\r", Headers.BITS_11),
        ("221234\r7E9056212340190\r\r", Headers.BITS_11),
        ("SEARCHING...7E9056212340190\r\r", Headers.BITS_11),
        ("SEARCHING...\r7E9056212340190\r\r", Headers.BITS_11),
        ("7e9056212340190\r\n\r\n", Headers.BITS_11),
    ],
)
def test_one_value_in_many_dresses(text: str, headers: Headers) -> None:
    """Echo, spaces, small letters, line feeds and the search word do not change the payload."""
    assert read_answer(text, "221234", headers).payloads == (FLUID,)


def test_29_bit_identifiers() -> None:
    """Eight digits of identifier are read as 29 bits."""
    text = "18DAF118056212340190AAAA\r18DAF110037F2231AAAAAAAA\r\r"
    assert headers_in(text, "221234") is Headers.BITS_29
    answer = read_answer(text, "221234", Headers.BITS_29)
    assert answer.payloads == (
        Payload(0x18DAF118, bytes.fromhex("6212340190")),
        Payload(0x18DAF110, bytes.fromhex("7F2231")),
    )


def test_without_identifiers_single_and_long() -> None:
    """An adapter that shows no identifiers is read by its length line and numbered parts."""
    single = read_answer("62 12 34 01 90\r\r", "221234", Headers.NONE)
    assert single.payloads == (Payload(0, FLUID.data),)
    long = "014\r0: 62 F1 90 30 31 32\r1: 33 34 35 36 37 38 39\r2: 41 42 43 44 45 46 47\r\r"
    answer = read_answer(long, "22F190", Headers.NONE)
    assert answer.payloads == (Payload(0, b"\x62\xf1\x900123456789ABCDEFG"),)


@pytest.mark.parametrize(
    "text",
    [
        "0: 62 F1 90 30 31 32\r1: 33 34 35 36 37 38 39\r\r",
        "014\r0: 62 F1 90 30 31 32\r2: 41 42 43 44 45 46 47\r\r",
        "014\r0: 62 F1 90 30 31 32\r1: 33 34 35 36 37 38 39\r\r",
        "014\r0: 62 F1 90 30 31\r1: 33 34 35 36 37 38 39\r2: 41 42 43 44 45 46 47\r\r",
        "00A\r0: 62 F1 90 30 31 32\r1: 33 34 35 36 37 38 39\r2: 41 42 43 44 45 46 47\r\r",
    ],
)
def test_a_long_answer_with_a_fault_gives_nothing(text: str) -> None:
    """A missing length, part or byte makes an answer without identifiers unreadable."""
    answer = read_answer(text, "22F190", Headers.NONE)
    assert answer.unreadable
    assert answer.payloads == ()


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("NO DATA", Word.NO_DATA),
        ("UNABLE TO CONNECT", Word.NO_BUS),
        ("SEARCHING...UNABLE TO CONNECT", Word.NO_BUS),
        ("BUS INIT: ...ERROR", Word.NO_BUS),
        ("CAN ERROR", Word.BUS_ERROR),
        ("<RX ERROR", Word.BUS_ERROR),
        ("BUFFER FULL", Word.BUFFER_FULL),
        ("STOPPED", Word.STOPPED),
        ("?", Word.UNKNOWN),
        ("LV RESET", Word.RESTARTED),
        ("ERR94", Word.RESTARTED),
    ],
)
def test_the_adapters_own_words(text: str, word: Word) -> None:
    """Each word of the common command set is understood and gives no payload."""
    answer = read_answer(f"{text}\r\r", "221234", Headers.BITS_11)
    assert word in answer.words
    assert answer.payloads == ()


@pytest.mark.parametrize(
    "spoilt",
    [
        "7E9056212340190",  # no line end before the prompt
        "7E905621234019\r\r",  # a digit short
        "7E9056212340190AAAA7E8037F2231AAAAAAAA\r\r",  # two lines run together
        "7E9056212340190 <DATA ERROR\r\r",
        "7E9056212340190AAAA\rINVENTED ADAPTER 1.0\r\r",  # it restarted in mid-answer
        "7E905621234\r\r",  # cut in the middle
        "6212340190\r\r",  # the identifier is missing
        "7E9056212340190AAAA\rBUFFER FULL\r\r",
        "7E9056212340190AAAA\rSTOPPED\r\r",
        "7E9106212340190AAAA\r\r",  # a first frame without the rest
        "7E9216212340190AAAA\r\r",  # a consecutive frame out of the blue
    ],
)
def test_a_spoilt_answer_gives_nothing(spoilt: str) -> None:
    """One line that is not whole makes the answer unreadable."""
    answer = read_answer(spoilt, "221234", Headers.BITS_11)
    assert answer.payloads == ()
    assert answer.unreadable


def test_the_reader_waits_for_the_prompt_byte_by_byte() -> None:
    """The same text comes out whether its bytes come one by one, at once, or with more behind."""
    data = b"7E9\x00" + b"056212340190\r\r>"
    reader = AnswerReader()
    got = [text for byte in data if (text := reader.receive(bytes([byte]))) is not None]
    assert got == ["7E9056212340190\r\r"]
    assert AnswerReader().receive(data) == got[0]
    late = AnswerReader()
    assert late.receive(data + b"NO DATA\r\r>") == got[0]
    assert late.drop() == len("NO DATA\r\r>")


def test_the_reader_stays_small_without_a_prompt() -> None:
    """A stream without a prompt does not fill the memory."""
    reader = AnswerReader()
    for _ in range(100):
        assert reader.receive(b"x" * 1000) is None
    assert reader.drop() <= 8192


@given(st.text(), st.sampled_from(list(Headers)))
def test_any_text_is_read_without_an_error(text: str, headers: Headers) -> None:
    """Whatever comes, read_answer returns; payloads and a complaint never come together."""
    answer = read_answer(text, "221234", headers)
    assert not (answer.payloads and answer.unreadable)


@given(st.binary(max_size=400))
def test_any_bytes_are_taken(data: bytes) -> None:
    """Whatever bytes come, the reader neither fails nor returns a prompt."""
    text = AnswerReader().receive(data)
    assert text is None or ">" not in text


def test_one_wrong_character_changes_the_value_only_in_the_data_digits() -> None:
    """Of all single wrong characters, those that pass as another value are the data's digits.

    7E9 05 62 1234 0190: the four digits 0190 may each become one of 15 others and still be a
    frame; the letters A to F count twice, since small ones are read as well. No check inside one
    text line can show it, which is why a surprising value is asked for again.
    """
    passed = []
    for at in range(len(GOOD)):
        for code in range(256):
            text = GOOD[:at] + chr(code) + GOOD[at + 1 :]
            if text == GOOD or ">" in text or "\0" in text:
                continue
            answer = read_answer(text, "221234", Headers.BITS_11)
            for payload in answer.payloads:
                echo_ok = payload.unit == 0x7E9 and payload.data[:3] == b"\x62\x12\x34"
                if echo_ok and payload.data != FLUID.data and len(payload.data) == 5:
                    passed.append(at)
    assert set(passed) == {11, 12, 13, 14}
    assert len(passed) == 4 * 21
