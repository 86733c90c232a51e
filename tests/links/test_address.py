"""Addresses as a person types them."""

import pytest

from warmwatch.errors import UsageError
from warmwatch.links.address import parse_address


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("COM5", "serial:COM5"),
        ("com12?baud=9600", "serial:com12?baud=9600"),
        ("/dev/ttyUSB0", "serial:/dev/ttyUSB0"),
        ("/dev/tty.usbserial-10", "serial:/dev/tty.usbserial-10"),
        ("/dev/cu.usbmodem101", "serial:/dev/cu.usbmodem101"),
        ("/dev/rfcomm0", "serial:/dev/rfcomm0"),
        ("/dev/serial/by-id/usb-x", "serial:/dev/serial/by-id/usb-x"),
        ("socket://10.0.0.2:4000", "serial:socket://10.0.0.2:4000"),
        ("can0", "can:can0?interface=socketcan"),
        ("vcan1?poll=1", "can:vcan1?interface=socketcan&poll=1"),
        ("log.csv", "csv:log.csv"),
    ],
)
def test_a_bare_port_is_understood(typed: str, meant: str) -> None:
    """Ports of each system, a network port, and CAN channels of Linux need no kind in front."""
    assert str(parse_address(typed)) == meant


@pytest.mark.parametrize("typed", ["COM", "canary", "can", "/dev/null", "COM5x", "white van", ""])
def test_what_only_looks_like_a_port_is_asked_about(typed: str) -> None:
    """The sentence shows what a port looks like."""
    with pytest.raises(UsageError, match="COM5"):
        parse_address(typed)
