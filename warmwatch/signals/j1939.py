"""SAE J1939-71 parameters out of broadcast frames: bytes in, values out, no I/O."""

import tomllib
from dataclasses import dataclass
from importlib.resources import files

from warmwatch.core.units import implausible
from warmwatch.signals.signal import Decoded

LEVEL_STATUS: dict[int, str] = {
    0: "conditions are right",
    1: "the settling timer is still running",
    2: "the transmission is in gear",
    3: "the fluid is too cold",
    4: "the fluid is too hot",
    5: "the vehicle is moving",
    6: "the vehicle is not level",
    7: "the engine speed is too low",
    8: "the engine speed is too high",
    9: "no reading was asked for",
    13: "another condition is not met",
}
"""What SPN 3026 says of an oil level reading; only 0 makes it valid. Other codes are undefined."""

SENDERS: dict[int, str] = {
    0: "engine 1",
    1: "engine 2",
    2: "turbocharger",
    3: "transmission 1",
    4: "transmission 2",
    5: "shift console",
    11: "brakes",
    15: "retarder at the engine",
    16: "retarder at the driveline",
    23: "instruments",
    33: "body control",
    49: "cab control",
}
"""The preferred addresses of SAE J1939, appendix B, table B2 (also in pretty_j1939 0.0.6); some."""
ENGINES, TRANSMISSIONS = (0, 1), (3, 4)


@dataclass(frozen=True, slots=True)
class Parameter:
    """One SPN: `bits` bits from `first_bit` of `byte` (both count from 1) of group `pgn`."""

    name: str
    spn: int
    pgn: int
    byte: int
    bits: int
    scale: float
    offset: float
    source: str
    first_bit: int = 1


def j1939_table() -> tuple[Parameter, ...]:
    """Return the parameters that we read, with the source at each."""
    text = files("warmwatch.signals").joinpath("data/j1939.toml").read_text(encoding="utf-8")
    return tuple(Parameter(**row) for row in tomllib.loads(text)["parameter"])


def group_of(can_id: int) -> int:
    """Return the parameter group number in a 29-bit identifier (SAE J1939-21)."""
    group = can_id >> 8 & 0x3FFFF
    return group if group >> 8 & 0xFF >= 0xF0 else group & 0x3FF00


def not_a_value(number: int, bits: int) -> str:
    """Return what a raw number means when it is none, by the ranges of SAE J1939-71 table 1."""
    if bits == 4:
        return {0xE: "error", 0xF: "not available"}.get(number, "")
    top = number >> (bits - 8)
    if top <= 0xFA:
        return ""
    return {0xFB: "parameter specific", 0xFE: "error", 0xFF: "not available"}.get(top, "reserved")


def decode_parameter(parameter: Parameter, data: bytes) -> Decoded:
    """Return what a frame's data says; codes that are no value come as a doubt without one."""
    number_bytes = data[parameter.byte - 1 : parameter.byte - 1 + (parameter.bits + 7) // 8]
    if len(number_bytes) * 8 < parameter.bits:
        return Decoded(None, f"the frame has only {len(data)} bytes")
    mask = (1 << parameter.bits) - 1
    number = int.from_bytes(number_bytes, "little") >> (parameter.first_bit - 1) & mask
    code = not_a_value(number, parameter.bits)
    if code:
        return Decoded(None, f"the control unit sends the code for {code!r}")
    value = round(number * parameter.scale + parameter.offset, 9)
    return Decoded(value, str(implausible(parameter.name, value) or ""))
