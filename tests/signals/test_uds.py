"""Service 22, refusals and session times against ISO 14229-1 as published, and udsoncan."""

import pytest
from udsoncan.Response import Response
from udsoncan.services.DiagnosticSessionControl import DiagnosticSessionControl

from tests.signals.rows import rows
from warmwatch.core.units import to_c
from warmwatch.signals import uds
from warmwatch.signals.answers import Conduct, parse_refusal

ROWS = {row["payload_hex"]: row for row in rows("uds_cases.csv")}
NEGATIVE = [row for row in ROWS.values() if row["kind"] == "negative"]

# What the `conduct` column of uds_cases.csv says, in our words.
EXPECTED = {
    "11": Conduct.STOP_SERVICE,
    "12": Conduct.STOP_IDENTIFIER,
    "13": Conduct.FEWER,
    "14": Conduct.FEWER,
    "21": Conduct.REPEAT,
    "22": Conduct.LATER,
    "31": Conduct.STOP_IDENTIFIER,
    "33": Conduct.STOP_IDENTIFIER,
    "78": Conduct.WAIT,
    "7F": Conduct.DEFAULT_SESSION,
}


@pytest.mark.parametrize("row", NEGATIVE, ids=lambda row: row["payload_hex"])
def test_every_published_refusal_is_understood(row: dict[str, str]) -> None:
    """Each negative answer gives its code, the conduct asked for, and words to tell."""
    payload = bytes.fromhex(row["payload_hex"])
    refusal = parse_refusal(payload)
    assert refusal is not None
    judge = Response.from_payload(payload)
    assert judge.service is not None
    assert (refusal.code, refusal.service) == (judge.code, judge.service.request_id())
    assert refusal.conduct is EXPECTED[row["code_hex"]]
    assert f"code {row['code_hex']}" in refusal.words


def test_the_published_answers_give_their_records() -> None:
    """One identifier: F405 is 90 degC by A-40. Two: sizes 3 and 1, no length byte."""
    one = uds.records(bytes.fromhex("62F40582"), {0xF405: 1})
    assert to_c(one[0xF405][0] - 40, "C") == 90.0
    two = uds.records(bytes.fromhex("62010A0102030110A0"), {0x010A: 3, 0x0110: 1})
    assert two == {0x010A: bytes([1, 2, 3]), 0x0110: bytes([0xA0])}
    assert {"62F40582", "62010A0102030110A0"} <= ROWS.keys()
    assert uds.request([0x010A, 0x0110]) == bytes.fromhex("22010A0110")


def test_the_published_session_answer_gives_its_times() -> None:
    """50 03 0032 01F4 is P2 50 ms and P2* 5000 ms; udsoncan reads the same."""
    payload = bytes.fromhex("5003003201F4")
    assert "5003003201F4" in ROWS
    times = uds.session_times(payload)
    assert times == uds.SessionTimes(uds.P2_S, uds.P2_STAR_S)
    judge = DiagnosticSessionControl.interpret_response(Response.from_payload(payload))
    assert judge.service_data.p2_server_max == times.p2_s
    assert judge.service_data.p2_star_server_max == times.p2_star_s


def test_a_tester_present_is_no_refusal() -> None:
    """3E80, the last row, asks for no answer and is none."""
    assert "3E80" in ROWS
    assert parse_refusal(bytes.fromhex("3E80")) is None


@pytest.mark.parametrize(
    "payload",
    ["", "62", "62F4", "62F405", "62F4058200", "62F40682", "63F40582", "62F40582F40582", "7F2231"],
)
def test_an_answer_that_does_not_fit_is_refused(payload: str) -> None:
    """A wrong service, identifier, length or repetition raises: it must not become a value."""
    with pytest.raises(ValueError, match=r"answer|bytes|service"):
        uds.records(bytes.fromhex(payload), {0xF405: 1})


def test_an_unknown_length_takes_the_rest() -> None:
    """Without a record length a single identifier's record is what is left."""
    assert uds.records(bytes.fromhex("6212340102"), {0x1234: None}) == {0x1234: b"\x01\x02"}


def test_a_record_of_another_size_is_told_by_its_size() -> None:
    """Whoever wrote the wrong record_length into a signal file reads both sizes."""
    with pytest.raises(ValueError, match="F405: 4 bytes instead of 1"):
        uds.records(bytes.fromhex("62F40582000000"), {0xF405: 1})
