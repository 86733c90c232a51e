"""Turns broadcast frames into readings: latest values, each handed over once. No I/O, no clock."""

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from typing import Protocol

from warmwatch.core.notice import Notice
from warmwatch.links.live import Polled, Values
from warmwatch.signals import Decoded
from warmwatch.signals.j1939 import LEVEL_STATUS, Parameter, decode_parameter, group_of, j1939_table

FLUID = "fluid_c"
STATUS = "oil_level_status"
SOURCE_SILENT_S = 5.0
EARLY = 0.8
"""A fluid temperature is handed over at once, but not sooner than this part of the pause."""


class Heard(Protocol):
    """Reads frames; `wanted` says for people what it waits for."""

    wanted: str

    def decode(self, can_id: int, wide: bool, data: bytes) -> Mapping[str, Decoded]:
        """Return what a frame says by quantity name; nothing for a frame of no interest."""

    def source(self, can_id: int) -> int:
        """Return who sent it, where the identifier tells (0 where not)."""

    def facts(self) -> Iterator[Mapping[str, object]]:
        """Return the definitions for the recording's sidecar, as JSON values."""


class J1939Ear:
    """Reads the standard's own parameter groups."""

    wanted = "it needs parameter group 65272 of SAE J1939, or a database file of this vehicle"

    def __init__(self) -> None:
        self._by_group: dict[int, list[Parameter]] = {}
        for parameter in j1939_table():
            self._by_group.setdefault(parameter.pgn, []).append(parameter)

    def decode(self, can_id: int, wide: bool, data: bytes) -> Mapping[str, Decoded]:
        parameters = self._by_group.get(group_of(can_id), []) if wide else []
        return {parameter.name: decode_parameter(parameter, data) for parameter in parameters}

    def source(self, can_id: int) -> int:
        return can_id & 0xFF

    def facts(self) -> Iterator[Mapping[str, object]]:
        for parameters in self._by_group.values():
            yield from (asdict(parameter) for parameter in parameters)


class Listened:
    """What was heard since the last reading."""

    def __init__(self, ear: Heard, pause_s: float) -> None:
        self._ear = ear
        self._pause_s = pause_s
        self._values: dict[str, float] = {}
        self._doubts: dict[str, str] = {}
        self._raw = ""
        self._chosen: dict[str, tuple[int, float]] = {}
        self._last_s: float | None = None
        self._status: float | None = None
        self.fluid_heard = False
        self.bus_errors = 0

    def hear(self, can_id: int, wide: bool, data: bytes, now_s: float) -> None:
        """Take one data frame."""
        for name, decoded in self._ear.decode(can_id, wide, data).items():
            if self._is_chosen(name, self._ear.source(can_id), decoded, now_s):
                self._keep(name, decoded)
                if name == FLUID:
                    self._raw = f"{can_id:0{8 if wide else 3}X} {data.hex().upper()}"

    def due(self, now_s: float) -> list[Polled]:
        """Return what has come, if it is time for a reading."""
        fluid = FLUID in self._values or FLUID in self._doubts
        waited_s = self._pause_s * (EARLY if fluid else 1.0)
        if not (self._values or self._doubts):
            return []
        if self._last_s is not None and now_s - self._last_s < waited_s:
            return []
        polled: list[Polled] = [*self._level_notice()]
        polled.append(Values(self._values, self._doubts, self._raw))
        self._values, self._doubts, self._raw, self._last_s = {}, {}, "", now_s
        return polled

    def _is_chosen(self, name: str, source: int, decoded: Decoded, now_s: float) -> bool:
        """Stay with the sender that first gave a value, until it falls silent."""
        chosen, heard_s = self._chosen.get(name, (source, now_s))
        if chosen != source and now_s - heard_s < SOURCE_SILENT_S:
            return False
        if decoded.value is not None or name in self._chosen:
            self._chosen[name] = (source, now_s)
        # Most vehicles leave most parameters at `not available`: only what was there is missed.
        return name == FLUID or name in self._chosen

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
