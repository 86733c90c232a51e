"""What a frame says, and who says it. No I/O, no clock."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from typing import Protocol

from warmwatch.signals import Decoded
from warmwatch.signals.j1939 import (
    ENGINES,
    SENDERS,
    TRANSMISSIONS,
    Parameter,
    decode_parameter,
    group_of,
    j1939_table,
)

BEST = 0
"""The rank of a sender that is sure to be the right one for a quantity; higher is less sure."""
ANYBODY = 9
"""The rank of a sender of which nothing says that the quantity is its own."""


@dataclass(frozen=True, slots=True)
class Sender:
    """Who sends. `number` is its address or identifier, `label` the same in hex digits."""

    number: int
    label: str
    about: str = ""
    rank: int = BEST

    @property
    def words(self) -> str:
        """The sender for people: `03 (transmission 1)`."""
        return f"{self.label} ({self.about})" if self.about else self.label


@dataclass(frozen=True, slots=True)
class Said:
    """One value that one sender gave; `raw` are the bytes that it was read from, for people."""

    name: str
    decoded: Decoded
    sender: Sender
    raw: str = ""


class Decoder(Protocol):
    """Reads frames; `wanted` says for people what it waits for."""

    @property
    def wanted(self) -> str: ...

    def hear(self, can_id: int, wide: bool, data: bytes, now_s: float) -> Sequence[Said]:
        """Return what a frame says; nothing for a frame of no interest."""

    def facts(self) -> Iterator[dict[str, object]]:
        """Return the definitions for the recording's sidecar, as JSON values."""


class J1939Decoder:
    """Reads the standard's own parameter groups."""

    wanted = "it needs parameter group 65272 of SAE J1939, or a database file of this vehicle"

    def __init__(self) -> None:
        self._by_group: dict[int, list[Parameter]] = {}
        for parameter in j1939_table():
            self._by_group.setdefault(parameter.pgn, []).append(parameter)

    def hear(self, can_id: int, wide: bool, data: bytes, now_s: float) -> Sequence[Said]:
        if not wide or (parameters := self._by_group.get(group_of(can_id))) is None:
            return ()
        raw = raw_of(can_id, wide, data)
        return [
            Said(
                parameter.name,
                decode_parameter(parameter, data),
                j1939_sender(can_id & 0xFF, parameter.name),
                raw,
            )
            for parameter in parameters
        ]

    def facts(self) -> Iterator[dict[str, object]]:
        for parameters in self._by_group.values():
            yield from (asdict(parameter) for parameter in parameters)


class Decoders:
    """Several decoders as one; `missed` is the one whose waiting is told."""

    def __init__(self, decoders: Sequence[Decoder], missed: Decoder) -> None:
        self._decoders = decoders
        self._missed = missed

    @property
    def wanted(self) -> str:
        return self._missed.wanted

    def hear(self, can_id: int, wide: bool, data: bytes, now_s: float) -> Sequence[Said]:
        for decoder in self._decoders:
            if said := decoder.hear(can_id, wide, data, now_s):
                return said
        return ()

    def facts(self) -> Iterator[dict[str, object]]:
        for decoder in self._decoders:
            yield from decoder.facts()


def raw_of(can_id: int, wide: bool, data: bytes) -> str:
    """Return a frame for people: identifier and bytes in hex digits."""
    return f"{can_id:0{8 if wide else 3}X} {data.hex().upper()}"


@cache
def j1939_sender(address: int, name: str) -> Sender:
    """Return the sender at an address of J1939, ranked as a source of `name`.

    The fluid is the business of the addresses that the standard gives transmissions, coolant and
    engine speed of the engine's; speed and outside air of nobody in particular.
    """
    owners: Sequence[int] = ()
    if name == "fluid_c" or name.startswith("oil_level"):
        owners = TRANSMISSIONS
    elif name in ("coolant_c", "engine_oil_c", "engine_rpm"):
        owners = ENGINES
    rank = ANYBODY if owners else BEST
    if address in owners:
        rank = owners.index(address)
    return Sender(address, f"{address:02X}", SENDERS.get(address, ""), rank)
