"""J1939 parameters against the published cases, pretty_j1939 and cantools."""

import cantools
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pretty_j1939.describe import get_describer
from pretty_j1939.parse import parse_j1939_id

from tests.signals.rows import rows
from warmwatch.core.units import QUANTITIES, implausible
from warmwatch.signals.j1939 import (
    LEVEL_STATUS,
    decode_parameter,
    group_of,
    j1939_table,
    not_a_value,
)

BY_SPN = {parameter.spn: parameter for parameter in j1939_table()}
DESCRIBE = get_describer()


@pytest.mark.parametrize(
    "row", rows("j1939_cases.csv"), ids=lambda row: f"{row['spn']}-{row['data_hex']}"
)
def test_every_published_case_is_decoded(row: dict[str, str]) -> None:
    """A valid code gives its value; any other gives no value at all and the standard's reason."""
    parameter = BY_SPN[int(row["spn"])]
    assert parameter.pgn == int(row["pgn"]) == group_of(int(row["can_id_hex"], 16))
    decoded = decode_parameter(parameter, bytes.fromhex(row["data_hex"]))
    if row["status"] == "ok":
        assert decoded.value == pytest.approx(float(row["expected"]), abs=1e-9)
        assert decoded.doubt == str(implausible(parameter.name, float(row["expected"])) or "")
    else:
        assert decoded.value is None
        assert row["status"] in decoded.doubt


def test_every_parameter_has_a_published_case_and_a_source() -> None:
    """No parameter ships unchecked, and each names its group, number and source."""
    assert {int(row["spn"]) for row in rows("j1939_cases.csv")} == set(BY_SPN)
    for parameter in BY_SPN.values():
        assert parameter.name in QUANTITIES
        assert f"PGN {parameter.pgn}" in parameter.source
        assert f"SPN {parameter.spn}" in parameter.source


@pytest.mark.parametrize(
    "row", rows("j1939_level_status.csv"), ids=lambda row: f"{row['spn']}-{row['code']}"
)
def test_every_level_status_code_means_what_the_standard_says(row: dict[str, str]) -> None:
    """Codes of SPN 3026 and 3028: a reason or a time is a value, error and absence are not."""
    parameter, code = BY_SPN[int(row["spn"])], int(row["code"])
    last = code << 4 if parameter.spn == 3026 else code
    decoded = decode_parameter(parameter, bytes([0xFF] * 7 + [last]))
    meaning = row["meaning_own_words"]
    if meaning in ("error", "not available"):
        assert decoded.value is None
        assert meaning in decoded.doubt
        return
    assert decoded.value == code
    if parameter.spn == 3026:
        assert (code in LEVEL_STATUS) is (meaning != "not defined")


REASONS = {1: "timer", 2: "gear", 3: "cold", 4: "hot", 5: "moving", 6: "level", 7: "low", 8: "high"}


@pytest.mark.parametrize("code", REASONS)
def test_a_level_reading_not_valid_yet_is_told_by_its_own_reason(code: int) -> None:
    """The words for a code carry the very condition that the published list names."""
    assert REASONS[code] in LEVEL_STATUS[code]


NAMES = {
    110: "Engine Coolant Temperature",
    175: "Engine Oil Temperature 1",
    190: "Engine Speed",
    84: "Wheel-Based Vehicle Speed",
}
WORDS = {
    "N/A": "not available",
    "Error": "error",
    "Parameter specific": "parameter specific",
    "Reserved": "reserved",
}


@given(st.binary(min_size=8, max_size=8), st.sampled_from(sorted(NAMES)))
def test_pretty_j1939_reads_the_same(data: bytes, spn: int) -> None:
    """An independent decoder with a table of its own agrees on any frame of these parameters."""
    parameter = BY_SPN[spn]
    told = DESCRIBE(data, 0x18000000 | parameter.pgn << 8).get(NAMES[spn], "N/A")
    decoded = decode_parameter(parameter, data)
    if told in WORDS:
        assert decoded.value is None
        assert WORDS[told] in decoded.doubt
    else:
        assert decoded.value == pytest.approx(float(told.split()[0]), abs=1e-6)


DBC = """VERSION ""
NS_ :
BS_:
BU_: Gearbox
BO_ 2566846467 TRF1: 8 Gearbox
 SG_ Level : 8|8@1+ (0.4,0) [0|102] "%" Gearbox
 SG_ Temp : 32|16@1+ (0.03125,-273) [-273|1775] "degC" Gearbox
 SG_ HighLow : 48|8@1+ (0.5,-62.5) [-62.5|65] "l" Gearbox
 SG_ Timer : 56|4@1+ (1,0) [0|15] "" Gearbox
 SG_ Status : 60|4@1+ (1,0) [0|15] "" Gearbox
"""
IN_DBC = {177: "Temp", 124: "Level", 3027: "HighLow", 3028: "Timer", 3026: "Status"}
DATABASE = cantools.database.can.Database()
DATABASE.add_dbc_string(DBC)


@given(st.binary(min_size=8, max_size=8), st.sampled_from(sorted(IN_DBC)))
def test_cantools_computes_the_same(data: bytes, spn: int) -> None:
    """The arithmetic of group 65272 agrees with cantools on a database typed here."""
    decoded = decode_parameter(BY_SPN[spn], data)
    judged = DATABASE.get_message_by_name("TRF1").decode_simple(data)[IN_DBC[spn]]
    if decoded.value is not None:
        assert decoded.value == pytest.approx(judged, abs=1e-9)


@given(st.integers(0, 0x1FFFFFFF))
def test_the_group_is_taken_from_the_identifier_as_pretty_j1939_does(can_id: int) -> None:
    """SAE J1939-21: below F0 the second byte is a destination and no part of the group."""
    extended_page = can_id & 0x02000000
    if not extended_page:  # reserved for later by the standard; pretty_j1939 leaves the bit out
        assert group_of(can_id) == parse_j1939_id(can_id)[0]


def test_a_short_frame_gives_no_value() -> None:
    """A frame that ends before the parameter does is a doubt, not a number."""
    decoded = decode_parameter(BY_SPN[177], bytes.fromhex("FFFFFFFFFF"))
    assert decoded.value is None
    assert "5 bytes" in decoded.doubt


@given(st.integers(0, 0xFFFF))
def test_no_code_beyond_the_valid_range_passes_for_a_number(number: int) -> None:
    """16 bits: up to FAFF is valid, from FB00 on nothing is."""
    assert (not_a_value(number, 16) == "") is (number <= 0xFAFF)
