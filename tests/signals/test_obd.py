"""Service 01 against the published J1979 values and bitmaps."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.signals.rows import rows
from warmwatch.core.units import QUANTITIES
from warmwatch.signals import decode, obd, standard_table


@pytest.mark.parametrize("row", rows("j1979_cases.csv"), ids=lambda row: row["response_hex"])
def test_every_published_value_is_decoded(row: dict[str, str]) -> None:
    """Each row of j1979_cases.csv (SAE J1979 scaling, agreeing with scapy 2.8.0) comes out so."""
    pid = int(row["pid_hex"], 16)
    (signal,) = [s for s in standard_table() if s.identifier == pid]
    record = obd.records(bytes.fromhex(row["response_hex"]), {pid: signal.record_length})[pid]
    decoded = decode(signal, record)
    assert decoded.value == pytest.approx(float(row["expected"]), abs=1e-9)
    inside = signal.low <= float(row["expected"]) <= signal.high
    assert (decoded.doubt == "") is inside


def test_the_table_of_values_covers_the_standard_table() -> None:
    """No standard signal ships without a published value to check it."""
    published = {int(row["pid_hex"], 16) for row in rows("j1979_cases.csv")}
    assert {signal.identifier for signal in standard_table()} <= published


@pytest.mark.parametrize("row", rows("j1979_bitmaps.csv"), ids=lambda row: row["response_hex"])
def test_every_published_bitmap_is_read(row: dict[str, str]) -> None:
    """Each bitmap (seen in public archives or derived; scapy agrees) gives its PIDs."""
    block = int(row["pid_hex"], 16)
    payload = bytes.fromhex(row["response_hex"])
    bitmap = obd.records(payload, {block: obd.BITMAP_LENGTH})[block]
    pids = obd.supported(block, bitmap)
    assert pids == {int(text, 16) for text in row["supported_pids_hex"].split()}
    assert (block + obd.BLOCK in pids) is (row["next_block_offered"] == "yes")


def test_three_pids_come_in_one_answer() -> None:
    """j1979_conduct.csv: 41 05 82 0C 0B B8 0D 00 is 90 degC, 750 rpm and 0 km/h."""
    payload = bytes.fromhex("41 05 82 0C 0B B8 0D 00")
    records = obd.records(payload, {0x05: 1, 0x0C: 2, 0x0D: 1})
    values = {
        s.name: decode(s, records[s.identifier]).value
        for s in standard_table()
        if s.identifier in records
    }
    assert values == {"coolant_c": 90.0, "engine_rpm": 750.0, "speed_kmh": 0.0}


def test_a_single_pid_is_asked_as_published() -> None:
    """j1979_conduct.csv: the request for PID 05 is 01 05; six PIDs are the most on CAN."""
    assert obd.request([0x05]) == bytes.fromhex("0105")
    with pytest.raises(ValueError, match="six"):
        obd.request(range(1, 8))


def test_every_row_names_its_source_and_a_known_quantity() -> None:
    """The standard table ships as data with the source at each row."""
    for signal in standard_table():
        assert signal.name in QUANTITIES
        assert "J1979" in signal.source


@given(st.binary(max_size=16))
def test_a_corrupted_answer_never_becomes_another_value(payload: bytes) -> None:
    """Whatever comes, only the exact shape `41 05 xx` gives a record for PID 05."""
    try:
        records = obd.records(payload, {0x05: 1})
    except ValueError:
        assert payload[:2] != b"\x41\x05" or len(payload) != 3
    else:
        assert payload == b"\x41\x05" + records[0x05]
