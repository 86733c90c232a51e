"""Nothing but reading can be asked for."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from warmwatch.signals.readonly import NotReading, check_reading


@given(st.binary(max_size=8))
def test_only_reading_services_pass(payload: bytes) -> None:
    """01, 09, 21, 22, 3E and exactly 10 01 pass; every other payload raises."""
    services = (b"\x01", b"\x09", b"\x21", b"\x22", b"\x3e")
    reads = payload[:1] in services or payload == b"\x10\x01"
    if reads:
        check_reading(payload)
        return
    with pytest.raises(NotReading):
        check_reading(payload)


@pytest.mark.parametrize("service", [0x04, 0x11, 0x14, 0x27, 0x28, 0x2E, 0x2F, 0x31, 0x34, 0x85])
def test_services_that_change_a_vehicle_are_refused(service: int) -> None:
    """Clearing, resetting, unlocking, writing, driving outputs (ISO 14229-1) never pass."""
    with pytest.raises(NotReading):
        check_reading(bytes([service, 0x01]))


@given(st.binary(max_size=3).map(lambda more: b"\x10" + more))
def test_of_all_sessions_only_the_extended_one_can_be_let_through(payload: bytes) -> None:
    """With the opt-in 10 03 passes; programming (10 02) and every other session never do."""
    if payload in (b"\x10\x01", b"\x10\x03"):
        check_reading(payload, extended=True)
        return
    with pytest.raises(NotReading):
        check_reading(payload, extended=True)
