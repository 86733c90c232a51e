"""Turns broadcast frames into readings: latest values, each handed over once. No I/O, no clock."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from warmwatch.core.notice import Notice
from warmwatch.links.broadcast.decoder import Decoder
from warmwatch.links.broadcast.senders import FLUID, Senders
from warmwatch.links.live import Polled, Values
from warmwatch.signals import Decoded
from warmwatch.signals.j1939 import LEVEL_STATUS

if TYPE_CHECKING:
    import can

STATUS = "oil_level_status"
EARLY = 0.8
"""A fluid temperature is handed over at once, but not sooner than this part of the pause."""


class Listened:
    """What was heard since the last reading."""

    def __init__(self, decoder: Decoder, pause_s: float, only: int | None = None) -> None:
        self._decoder = decoder
        self._pause_s = pause_s
        self.senders = Senders(only)
        self._values: dict[str, float] = {}
        self._doubts: dict[str, str] = {}
        self._raw = ""
        self._last_s: float | None = None
        self._status: float | None = None
        self.fluid_heard = False
        self.frames = self.bus_errors = 0
        self.frame_s: float | None = None
        """When the last data frame came."""

    def take(self, message: "can.Message", now_s: float) -> None:
        """Take a frame of any kind."""
        if message.is_error_frame:
            self.bus_errors += 1
        elif not message.is_remote_frame:
            self.frames += 1
            self.frame_s = now_s
            wide = message.is_extended_id
            self.hear(message.arbitration_id, wide, bytes(message.data), now_s)

    def hear(self, can_id: int, wide: bool, data: bytes, now_s: float) -> None:
        """Take one data frame."""
        for said in self._decoder.hear(can_id, wide, data, now_s):
            if self.senders.takes(said, now_s):
                self._keep(said.name, said.decoded)
                if said.name == FLUID:
                    self._raw = said.raw

    def missing(self) -> str:
        """Say why no fluid temperature is read from the traffic that is there."""
        others = ", ".join(one.sender.words for one in self.senders.of(FLUID))
        if others:
            return f"the transmission fluid temperature comes from {others} only: see source="
        return f"no transmission fluid temperature: {self._decoder.wanted}"

    def due(self, now_s: float) -> list[Polled]:
        """Return what has come, if it is time for a reading, and what is to be told."""
        news: list[Polled] = [*self.senders.news()]
        fluid = FLUID in self._values or FLUID in self._doubts
        waited_s = self._pause_s * (EARLY if fluid else 1.0)
        if self._last_s is not None and now_s - self._last_s < waited_s:
            return news
        if rest := self.rest():
            self._last_s = now_s
        return news + rest

    def rest(self) -> list[Polled]:
        """Return what has come since the last reading, whether or not it is time."""
        if not (self._values or self._doubts):
            return []
        found: list[Polled] = [*self._level_notice()]
        found.append(Values(self._values, self._doubts, self._raw))
        self._values, self._doubts, self._raw = {}, {}, ""
        return found

    def _keep(self, name: str, decoded: Decoded) -> None:
        self.fluid_heard = self.fluid_heard or name == FLUID
        self._values.pop(name, None)
        self._doubts.pop(name, None)
        if decoded.value is not None:
            self._values[name] = decoded.value
        if decoded.doubt:
            self._doubts[name] = decoded.doubt

    def _level_notice(self) -> Iterator[Notice]:
        status = self._values.get(STATUS, self._status)
        if status is None or status == self._status:
            return
        self._status = status
        words = LEVEL_STATUS.get(int(status), "for an undefined reason")
        if status == 0:
            yield Notice(f"The transmission's own oil level reading is valid: {words}.")
        else:
            yield Notice(f"The transmission's own oil level reading is not valid yet: {words}.")
