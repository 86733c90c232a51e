"""Sees what is at an address: asks who is there and what it offers, or only listens."""

import logging
import time
from collections.abc import Callable

from warmwatch.app.guide.world import Answered, Socket
from warmwatch.book import vin
from warmwatch.core.notice import Notice
from warmwatch.core.reading import Reading
from warmwatch.errors import LinkError, LinkLost
from warmwatch.links.address import parse_address
from warmwatch.links.asking.request import Request
from warmwatch.links.asking.silent import VehicleSilent
from warmwatch.links.base import open_link
from warmwatch.links.trying.asker import Asker, open_asker
from warmwatch.links.trying.steps import Step, StepState

LISTEN_S = 2.0
VEHICLE_INFORMATION, VIN = 0x09, 0x02
"""Service 09 and its identifier of the vehicle identification number (ISO 15031-5)."""
_INVENTED = ("virtual", "udp_multicast")
_BY_PORT = ("serial", "slcan", "robotell")
"""Interfaces of python-can that list serial ports, which are listed here already."""

Told = Callable[[Step], None]


def asked(address: str, told: Told) -> Answered:
    """Open the link for questions and see who answers. Raises LinkError when nothing is there.

    Where nobody answers, a bus is listened to: the fluid's temperature may come by itself.
    """
    where = parse_address(address)
    try:
        asker = open_asker(where, told)
    except VehicleSilent:
        by_itself = f"broadcast:{address.removeprefix('can:')}"
        return (where.kind == "can" and heard(by_itself, told)) or Answered(address)
    try:
        return Answered(address, answers=True, vin=read_vin(asker))
    finally:
        asker.close()


def heard(address: str, told: Told) -> Answered | None:
    """Listen only; return what is there when the fluid's temperature comes by itself."""
    where = parse_address(address)
    if where.about_kind.invented:
        return Answered(address, answers=True, fluid=True)
    link = open_link(where)
    until_s = time.monotonic() + LISTEN_S
    try:
        for item in link.items():
            if isinstance(item, Notice) and item.lost:
                raise LinkLost(item.text)
            if isinstance(item, Reading) and "fluid_c" in item.values:
                told(Step("fluid temperature now", StepState.OK, f"{item.values['fluid_c']:g} °C"))
                return Answered(address, answers=True, fluid=True)
            if time.monotonic() >= until_s:
                return None
    finally:
        link.close()
    return None


def read_vin(asker: Asker) -> str:
    """Return the vehicle identification number that a unit tells, "" where none does."""
    for unit in asker.units[:2]:
        try:
            outcome = asker.ask(Request(VEHICLE_INFORMATION, (VIN,), unit))
        except LinkError:
            return ""
        for payload in outcome.answers.values():
            if number := vin_of(payload):
                return number
    return ""


def vin_of(payload: bytes) -> str:
    """Return the number in an answer `49 02 01 ...`, "" where there is none.

    >>> vin_of(b"\\x49\\x02\\x01" + b"1J9RP1A36A1644345")
    '1J9RP1A36A1644345'
    """
    if payload[:2] != bytes([VEHICLE_INFORMATION + 0x40, VIN]):
        return ""
    try:
        return vin.clean(payload[2:].lstrip(b"\x01\x00").rstrip(b"\x00\xff").decode("ascii"))
    except ValueError:
        return ""


def can_sockets() -> list[Socket]:
    """Return the CAN interfaces that python-can finds, without serial ports and invented ones."""
    from warmwatch.links.python_can import can

    wanted = [name for name in can.interfaces.BACKENDS if name not in (*_INVENTED, *_BY_PORT)]
    level = logging.root.manager.disable
    logging.disable(logging.CRITICAL)  # each driver that is missing would complain
    try:
        found = can.detect_available_configs(wanted)
    except Exception:  # a driver may fail in any way
        return []
    finally:
        logging.disable(level)
    return [_can_socket(str(one["interface"]), str(one["channel"])) for one in found]


def _can_socket(interface: str, channel: str) -> Socket:
    speed = "" if interface == "socketcan" else "&bitrate=auto"
    address = f"can:{channel}?interface={interface}{speed}"
    return Socket(channel, f"CAN by {interface}", address=address)
