"""Looks into the beginning of a log: which buses it holds, which carries the fluid, how often."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING

from warmwatch.errors import InputError
from warmwatch.links.broadcast.decoder import Decoder
from warmwatch.links.broadcast.senders import FLUID
from warmwatch.links.csv.table import usual_interval_s
from warmwatch.links.log.clock import LogClock

if TYPE_CHECKING:
    import can

SCANNED_FRAMES = 200_000
ENOUGH_FLUID, ENOUGH_FRAMES = 50, 5_000
BACKWARD_SHARE = 0.1


@dataclass(slots=True)
class BusSeen:
    """One bus of a log."""

    name: str
    decoder: Decoder
    frames: int = 0
    errors: int = 0
    fluid_s: list[float] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Scanned:
    """What the beginning of a log shows: its buses, the likeliest for the fluid first."""

    buses: list[BusSeen]

    @property
    def poll_s(self) -> float | None:
        """The usual time between two fluid temperatures on the likeliest bus."""
        return usual_interval_s(self.buses[0].fluid_s) if self.buses else None


def bus_name(frame: "can.Message") -> str:
    """Return which bus a frame is from, as the log says it."""
    return "" if frame.channel is None else str(frame.channel)


def scan(frames: Iterator["can.Message"], decoder: Callable[[], Decoder], name: str) -> Scanned:
    """Look at the first frames. Raises InputError where their times are none."""
    clock, buses, fluid, count = LogClock(), dict[str, BusSeen](), 0, 0
    for frame in islice(frames, SCANNED_FRAMES):
        count += 1
        bus = buses.get(key := bus_name(frame))
        if bus is None:
            bus = buses[key] = BusSeen(key, decoder())
        fluid += _look(frame, bus, clock)
        if fluid >= ENOUGH_FLUID and count >= ENOUGH_FRAMES:
            break
    if count > ENOUGH_FLUID and clock.backward > BACKWARD_SHARE * count:
        raise InputError(
            f"The times in {name} run back all the time: they seem to be differences from frame to "
            "frame. Record it again with full times."
        )
    ranked = sorted(buses.values(), key=lambda bus: (-len(bus.fluid_s), -bus.frames))
    return Scanned(ranked)


def _look(frame: "can.Message", bus: BusSeen, clock: LogClock) -> bool:
    if not clock.place(frame.timestamp):
        return False
    if frame.is_error_frame:
        bus.errors += 1
        return False
    bus.frames += 1
    if frame.is_remote_frame:
        return False
    wide, data = frame.is_extended_id, bytes(frame.data)
    said = bus.decoder.hear(frame.arbitration_id, wide, data, clock.elapsed_s)
    found = any(one.name == FLUID and one.decoded.value is not None for one in said)
    if found and len(bus.fluid_s) < ENOUGH_FLUID:
        bus.fluid_s.append(clock.elapsed_s)
    return found
