"""`broadcast:CHANNEL?interface=...`: listens to what a bus says by itself, and never transmits.

Without `database=` it reads SAE J1939-71; with `database=FILE` the signals named in further options
(`fluid_c=Message.Signal`). `poll=SECONDS` is the pause between readings. Every other option goes to
python-can; `usb=NUMBER` follows a USB port by its serial number.
"""

import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from warmwatch.core.notice import Notice
from warmwatch.core.units import QUANTITIES
from warmwatch.errors import LinkLost, UsageError
from warmwatch.links.address import Address
from warmwatch.links.base import WAIT_S
from warmwatch.links.broadcast.listening import Heard, J1939Ear, Listened
from warmwatch.links.can.bus import (
    BusOpener,
    bus_options,
    close_bus,
    lost,
    seconds_option,
)
from warmwatch.links.can.frames import FrameReader, UnreadableFrame
from warmwatch.links.clock import SystemClock
from warmwatch.links.live import LiveLink, Polled

if TYPE_CHECKING:
    import can

OWN_OPTIONS = frozenset({"database", "poll", "usb", *QUANTITIES})
SILENT_S = 3.0
NO_FLUID_S = 5.0


@dataclass(frozen=True, slots=True)
class BroadcastSettings:
    """What to listen to; `ear` turns frames into values. Times in seconds."""

    channel: str
    options: Mapping[str, object]
    ear: Heard
    poll_s: float = 1.0


class BroadcastPort:
    """One opened bus, of which nothing but `recv` is used."""

    def __init__(self, settings: BroadcastSettings, bus: "can.BusABC") -> None:
        self._settings = settings
        self._bus = bus
        self._reader = FrameReader(bus)
        self._opened_s = self._last_frame_s = time.monotonic()
        self._listened = Listened(settings.ear, settings.poll_s)
        self._told: set[str] = set()

    def poll(self) -> list[Polled]:
        """Listen for WAIT_S, or until readings are due."""
        import can

        until_s = time.monotonic() + WAIT_S
        while True:
            left_s = until_s - time.monotonic()
            try:
                message = self._reader.receive(max(0.0, left_s))
            except UnreadableFrame:
                self._listened.bus_errors += 1
                if left_s <= 0:
                    return self._notices()
                continue
            except (can.CanError, OSError) as error:
                raise lost(self._settings.channel, error) from error
            if message is not None:
                self._take(message)
            due = self._listened.due(time.monotonic())
            if due or message is None or left_s <= 0:
                return [*due, *self._notices()]

    def close(self) -> None:
        close_bus(self._bus)

    def _take(self, message: "can.Message") -> None:
        now_s = time.monotonic()
        if message.is_error_frame:
            self._listened.bus_errors += 1
        elif not message.is_remote_frame:
            self._last_frame_s = now_s
            wide = message.is_extended_id
            self._listened.hear(message.arbitration_id, wide, bytes(message.data), now_s)

    def _notices(self) -> list[Polled]:
        now_s = time.monotonic()
        channel = self._settings.channel
        if now_s - self._last_frame_s > SILENT_S:
            errors = self._listened.bus_errors
            why = "is the ignition on, and the bitrate right"
            if errors:
                why = "it reports errors: is the bitrate right"
            raise LinkLost(f"{channel} is silent; {why}?")
        if not self._listened.fluid_heard and now_s - self._opened_s > NO_FLUID_S:
            return self._once(
                f"{channel} carries traffic, but no transmission fluid temperature: "
                f"{self._settings.ear.wanted}."
            )
        return []

    def _once(self, text: str) -> list[Polled]:
        if text in self._told:
            return []
        self._told.add(text)
        return [Notice(text, alarm=True)]


def open_address(address: Address, pace: float | None) -> LiveLink:
    """Return the link of a `broadcast:` address; `pace` is ignored, a vehicle has its own."""
    settings = settings_of(address)
    about = {"address": str(address), "signals": list(settings.ear.facts())}
    opener = BusOpener(settings.channel, settings.options, address.options.get("usb", ""))
    return LiveLink(
        lambda: BroadcastPort(settings, opener.open()), SystemClock(), about, settings.poll_s
    )


def settings_of(address: Address) -> BroadcastSettings:
    """Return the settings in an address's options; UsageError says which one is wrong."""
    options = bus_options(address, OWN_OPTIONS)
    if options["interface"] == "slcan":  # a wrong bitrate then cannot disturb the vehicle
        options.setdefault("listen_only", True)
    poll_s = seconds_option(address.options, "poll", 1.0)
    return BroadcastSettings(address.rest, options, _ear(address), poll_s)


def _ear(address: Address) -> Heard:
    wanted = {name: address.options[name] for name in QUANTITIES if name in address.options}
    if "database" not in address.options:
        if wanted:
            name, signal = next(iter(wanted.items()))
            raise UsageError(f"{name}={signal} needs database=FILE, where the signal is defined.")
        return J1939Ear()
    from warmwatch.links.broadcast.database import DatabaseEar

    return DatabaseEar(address.options["database"], wanted)
