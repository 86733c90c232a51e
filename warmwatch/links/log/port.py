"""`log:FILE`: replays recorded bus traffic, in every format that python-can reads.

Reads what `broadcast:` reads: J1939 or `database=FILE`, and what somebody asked a vehicle for and
got (`signals=FILE`). `bus=NAME` chooses between several buses in one log, `source=HEX` between
several senders, `poll=SECONDS` is the pause between readings.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from warmwatch.core.notice import Notice
from warmwatch.core.reading import Item, Reading, Tick
from warmwatch.errors import UsageError
from warmwatch.links.address import Address
from warmwatch.links.base import Link
from warmwatch.links.broadcast.choosing import DECODER_OPTIONS, decoder_of, source_of
from warmwatch.links.broadcast.decoder import Decoder
from warmwatch.links.broadcast.listening import Listened
from warmwatch.links.can.bus import seconds_option
from warmwatch.links.csv.anchor import GAP_S
from warmwatch.links.live import STEP_S, Gap, Polled, Values
from warmwatch.links.log.beside import signals_beside
from warmwatch.links.log.clock import LogClock
from warmwatch.links.log.files import LogFile
from warmwatch.links.log.scan import Scanned, bus_name, scan
from warmwatch.links.replay import Replay

if TYPE_CHECKING:
    import can

OWN_OPTIONS = DECODER_OPTIONS | {"bus", "poll"}
NO_FLUID_S = 5.0
FASTEST_S, SLOWEST_S = 0.2, 1.0
"""The pause between readings is that of the fluid in the log, but no other than this."""
SILENT_END_S = 1.0


class RecordedBus:
    """The readings in one log of bus traffic. Raises UsageError and InputError."""

    def __init__(self, log: LogFile, address: Address) -> None:
        self._log = log
        self._address = address
        self._source = source_of(address)
        self._known = signals_beside(log.path)
        self._scanned = scan(log.frames(), self._decoder, log.path.name)
        self.listened: Listened | None = None
        """What was heard in the last pass, once it has begun."""
        self._bus = _chosen(self._scanned, address)
        usual_s = self._scanned.poll_s or SLOWEST_S
        pause_s = min(SLOWEST_S, max(FASTEST_S, usual_s))
        self._pause_s = seconds_option(address.options, "poll", pause_s)
        self.poll_s: float | None = max(self._pause_s, usual_s)

    @property
    def words(self) -> str:
        """What the log holds, for people."""
        buses = [f"bus {bus.name or '?'}: {bus.frames} frames" for bus in self._scanned.buses]
        return f"{self._log.path.name}, in its beginning {', '.join(buses) or 'no frames'}"

    def _decoder(self) -> Decoder:
        return decoder_of(self._address, self._known)

    def describe(self) -> Mapping[str, object]:
        signals = list(self._decoder().facts())
        return {"replayed_from": self._log.path.name, "bus": self._bus, "signals": signals}

    def __iter__(self) -> Iterator[Item | Notice]:
        yield from self._introduction()
        listened = Listened(self._decoder(), self._pause_s, self._source)
        clock, told, last_s, leaps = LogClock(), False, -STEP_S, 0
        self.listened = listened
        for frame in self._log.frames():
            if bus_name(frame) != self._bus or not clock.place(frame.timestamp):
                continue
            now_s = clock.elapsed_s
            if clock.leaps > leaps:
                leaps = clock.leaps
                yield Notice(
                    f"The times in {self._log.path.name} leap: reading goes on from there after a "
                    f"gap of {GAP_S:g} s (its true length is not known)."
                )
            listened.take(frame, now_s)
            for item in _stamped(listened.due(now_s), max(now_s, last_s + STEP_S), clock.utc_s):
                last_s = last_s if isinstance(item, Notice) else item.elapsed_s
                yield item
            missed = listened.frames and not listened.fluid_heard
            if missed and not told and now_s > NO_FLUID_S:
                told = True
                yield Notice(self._without(listened), alarm=True)
        rest = listened.rest()
        yield from _stamped(rest, max(clock.elapsed_s, last_s + STEP_S), clock.utc_s)
        if clock.elapsed_s - last_s > SILENT_END_S and not rest:
            yield Tick(clock.elapsed_s, utc_s=clock.utc_s)  # traffic without the fluid is silence
        yield from self._ending(listened, clock, told=told)

    def _introduction(self) -> Iterator[Notice]:
        others = [bus.name for bus in self._scanned.buses if bus.name != self._bus]
        if others:
            yield Notice(
                f"{self._log.path.name} holds several buses: {self._bus} is read, not "
                f"{', '.join(others)}; choose another with bus=."
            )

    def _ending(self, listened: Listened, clock: LogClock, *, told: bool) -> Iterator[Notice]:
        name = self._log.path.name
        if listened.bus_errors and not listened.frames:
            yield Notice(
                f"All {listened.bus_errors} frames in {name} are error frames: the bitrate was "
                "wrong, or the bus disturbed, when it was recorded.",
                alarm=True,
            )
        elif not (listened.fluid_heard or told):
            yield Notice(self._without(listened), alarm=True)
        if self._log.skipped:
            yield Notice(f"{name}: {_lines(self._log.skipped)} no whole frame: left out.")
        if clock.strays:
            frames = "1 frame" if clock.strays == 1 else f"{clock.strays} frames"
            yield Notice(f"{name}: {frames} with a wrong time left out.")
        if self._log.cut:
            yield Notice(f"{name} ends in the middle ({self._log.cut}): read up to there.")

    def _without(self, listened: Listened) -> str:
        return f"{self._log.path.name} holds traffic, but {listened.missing()}."


def _chosen(scanned: Scanned, address: Address) -> str:
    names = [bus.name for bus in scanned.buses]  # the likeliest first
    wanted = address.options.get("bus")
    if wanted is None:
        return names[0] if names else ""
    if wanted not in names:
        found = ", ".join(sorted(names)) or "none"
        raise UsageError(f"bus={wanted} is not in the beginning of the log; its buses are {found}.")
    return wanted


def _stamped(found: list[Polled], at_s: float, utc_s: float | None) -> Iterator[Item | Notice]:
    for polled in found:
        if isinstance(polled, Values):
            yield Reading(round(at_s, 6), polled.values, polled.doubts, polled.raw, utc_s)
        elif isinstance(polled, Gap):
            yield Tick(round(at_s, 6), polled.text, utc_s)
        elif isinstance(polled, Notice):
            yield polled


def _lines(count: int) -> str:
    return "1 line was" if count == 1 else f"{count} lines were"


def open_address(address: Address, pace: float | None) -> Link:
    """Return the link of a `log:` address. Raises UsageError and InputError."""
    if not address.rest:
        raise UsageError("log: needs a file: write log:FILE.")
    for name in address.options:
        if name not in OWN_OPTIONS:
            known = ", ".join(sorted(OWN_OPTIONS))
            raise UsageError(f"log: has no option {name!r}; it has {known}.")
    return Replay(RecordedBus(LogFile(Path(address.rest)), address), pace)


def open_frames(address: Address, seconds: float) -> Iterator[tuple[float, "can.Message"]]:
    """Yield each frame of a log with its time in it, whatever it says. Raises InputError."""
    clock, bus = LogClock(), address.options.get("bus")
    for frame in LogFile(Path(address.rest)).frames():
        if bus in (None, bus_name(frame)) and clock.place(frame.timestamp):
            yield clock.elapsed_s, frame
