"""Gathers what another tester asks for and gets: the search that asks nothing itself."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from importlib import import_module
from typing import TYPE_CHECKING

from warmwatch.analysis.finding.candidate import Sample
from warmwatch.app.search import Found
from warmwatch.links.address import Address
from warmwatch.links.asking.units import Unit
from warmwatch.links.broadcast.decoder import Decoder, Decoders, J1939Decoder
from warmwatch.links.broadcast.overhearing import OverhearingDecoder
from warmwatch.signals import uds
from warmwatch.signals.answers import POSITIVE_OFFSET
from warmwatch.signals.overheard import WIDTHS, Exchanged, Overheard, asked_at

if TYPE_CHECKING:
    import can

EVERY_S = 0.5
"""Of an identifier that is asked more often only so many samples are kept."""
MOST_IDENTIFIERS = 5_000
_AIR = ("ambient_c", "intake_c")


@dataclass(slots=True)
class Gathered:
    """What was heard of each unit. `frames` and `exchanges` count what went by."""

    service: int = uds.SERVICE
    identifiers: range | None = None
    units: dict[Unit, Found] = field(default_factory=dict)
    frames: int = 0
    exchanges: int = 0
    _overheard: Overheard = field(default_factory=Overheard)
    _decoder: Decoder = field(
        default_factory=lambda: Decoders(
            (J1939Decoder(), OverhearingDecoder(())), missed=J1939Decoder()
        )
    )
    _coolant: list[tuple[float, float]] = field(default_factory=list)
    _air_c: list[float] = field(default_factory=list)

    def take(self, at_s: float, frame: "can.Message") -> None:
        """Take one frame."""
        if frame.is_error_frame or frame.is_remote_frame:
            return
        self.frames += 1
        can_id, wide, data = frame.arbitration_id, frame.is_extended_id, bytes(frame.data)
        for said in self._decoder.hear(can_id, wide, data, at_s):
            value = said.decoded.value
            if value is None or said.decoded.doubt:
                continue
            if said.name == "coolant_c" and _later(at_s, self._coolant):
                self._coolant.append((at_s, value))
            elif said.name in _AIR and len(self._air_c) < 2:
                self._air_c.append(value)
        exchanged = self._overheard.hear(can_id, wide, data, at_s)
        if exchanged is not None and exchanged.answer[0] == self.service + POSITIVE_OFFSET:
            self._sample(exchanged, at_s)

    def _sample(self, exchanged: Exchanged, at_s: float) -> None:
        self.exchanges += 1
        head = 1 + WIDTHS[self.service]
        if len(exchanged.identifiers) > 1 or len(exchanged.answer) <= head:
            return  # nothing says where one record ends and the next begins
        identifier = int.from_bytes(exchanged.answer[1:head], "big")
        if self.identifiers is not None and identifier not in self.identifiers:
            return
        asked = exchanged.asked_at or asked_at(exchanged.can_id, exchanged.wide)
        found = self.units.setdefault(Unit(exchanged.can_id, asked), Found())
        found.coolant, found.air_c = self._coolant, self._air_c
        samples = found.samples.get(identifier)
        if samples is None and len(found.samples) < MOST_IDENTIFIERS:
            samples = found.samples[identifier] = []
        if samples is not None and (not samples or at_s - samples[-1].elapsed_s >= EVERY_S):
            samples.append(Sample(at_s, exchanged.answer[head:]))

    def told_air(self, air_c: float) -> None:
        """Take the air's temperature as the user gives it."""
        self._air_c.insert(0, air_c)


def gather(address: Address, seconds: float, into: Gathered) -> Iterator[float]:
    """Listen for `seconds`, or to the whole log; yield the time of each frame. Raises LinkError."""
    module = import_module(address.about_kind.frames)
    frames: Iterable[tuple[float, can.Message]] = module.open_frames(address, seconds)
    for at_s, frame in frames:
        into.take(at_s, frame)
        yield at_s


def _later(at_s: float, curve: list[tuple[float, float]]) -> bool:
    return not curve or at_s - curve[-1][0] >= EVERY_S
