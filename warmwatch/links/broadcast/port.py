"""`broadcast:CHANNEL?interface=...`: listens to what a bus says by itself, and never transmits.

Without `database=` it reads SAE J1939-71; with `database=FILE` the signals named in further options
(`fluid_c=Message.Signal`). With or without `signals=FILE` it also reads what another tester asks a
vehicle for and gets. `poll=SECONDS` is the pause between readings, `source=HEX` the only
sender of the fluid to believe. Every other option goes to python-can; `usb=NUMBER` follows a USB
port by its serial number.
"""

import time
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from warmwatch.core.notice import Notice
from warmwatch.errors import LinkLost
from warmwatch.links.address import Address
from warmwatch.links.base import WAIT_S
from warmwatch.links.broadcast.choosing import DECODER_OPTIONS, decoder_of, source_of
from warmwatch.links.broadcast.decoder import Decoder
from warmwatch.links.broadcast.listening import Listened
from warmwatch.links.can.bus import (
    BusOpener,
    bus_options,
    close_bus,
    lost,
    seconds_option,
)
from warmwatch.links.can.chunks import has_refused
from warmwatch.links.can.frames import FrameReader, UnreadableFrame
from warmwatch.links.clock import SystemClock
from warmwatch.links.live import LiveLink, Polled

if TYPE_CHECKING:
    import can

OWN_OPTIONS = DECODER_OPTIONS | {"poll", "usb"}
SILENT_S = 3.0
NO_FLUID_S = 5.0


@dataclass(frozen=True, slots=True)
class BroadcastSettings:
    """What to listen to; `decoder` turns frames into values. Times in seconds."""

    channel: str
    options: Mapping[str, object]
    decoder: Decoder
    poll_s: float = 1.0
    source: int | None = None


class BroadcastPort:
    """One opened bus, of which nothing but `recv` is used."""

    def __init__(self, settings: BroadcastSettings, bus: "can.BusABC") -> None:
        self._settings = settings
        self._bus = bus
        self._reader = FrameReader(bus)
        self._opened_s = time.monotonic()
        self._listened = Listened(settings.decoder, settings.poll_s, settings.source)
        self._told: set[str] = set()

    @property
    def listened(self) -> Listened:
        """What was heard since the bus was opened."""
        return self._listened

    def poll(self) -> list[Polled]:
        """Listen for WAIT_S, or until readings are due."""
        from warmwatch.links.python_can import can

        now_s = time.monotonic()
        until_s = now_s + WAIT_S
        while True:
            try:
                message = self._reader.receive(max(0.0, until_s - now_s))
            except UnreadableFrame:
                self._listened.bus_errors += 1
            except (can.CanError, OSError) as error:
                raise lost(self._settings.channel, error) from error
            else:
                if message is not None:
                    self._listened.take(message, time.monotonic())
            now_s = time.monotonic()
            due = self._listened.due(now_s)
            if due or now_s >= until_s:
                return [*due, *self._notices(now_s)]

    def close(self) -> None:
        close_bus(self._bus)

    def _notices(self, now_s: float) -> list[Polled]:
        listened, channel = self._listened, self._settings.channel
        heard_s = self._opened_s if listened.frame_s is None else listened.frame_s
        if now_s - heard_s > SILENT_S:
            raise LinkLost(f"{channel} is silent; {self._why_silent()}")
        if listened.fluid_heard or now_s - self._opened_s <= NO_FLUID_S:
            return []
        return self._once(f"{channel} carries traffic, but {listened.missing()}.")

    def _why_silent(self) -> str:
        if self._settings.options.get("listen_only") and has_refused(self._bus):
            return (
                "it refused a command, as adapters do that cannot only listen: if you are sure of "
                "the bitrate, add listen_only=false (it then acknowledges frames)."
            )
        if self._listened.bus_errors:
            return "it reports errors: is the bitrate right?"
        return "is the ignition on, and the bitrate right?"

    def _once(self, text: str) -> list[Polled]:
        if text in self._told:
            return []
        self._told.add(text)
        return [Notice(text, alarm=True)]


def open_address(address: Address, pace: float | None) -> LiveLink:
    """Return the link of a `broadcast:` address; `pace` is ignored, a vehicle has its own."""
    settings = settings_of(address)
    about = {"address": str(address), "signals": list(settings.decoder.facts())}
    opener = opener_of(address, settings)
    return LiveLink(
        lambda: BroadcastPort(settings, opener.open()), SystemClock(), about, settings.poll_s
    )


def opener_of(address: Address, settings: BroadcastSettings) -> BusOpener:
    """Return what opens the bus of an address."""
    return BusOpener(settings.channel, settings.options, address.options.get("usb", ""))


def settings_of(address: Address) -> BroadcastSettings:
    """Return the settings in an address's options; UsageError says which one is wrong."""
    options = bus_options(address, OWN_OPTIONS)
    if options["interface"] == "slcan":  # a wrong bitrate then cannot disturb the vehicle
        options.setdefault("listen_only", True)
    poll_s = seconds_option(address.options, "poll", 1.0)
    return BroadcastSettings(address.rest, options, decoder_of(address), poll_s, source_of(address))


def open_frames(address: Address, seconds: float) -> Iterator[tuple[float, "can.Message"]]:
    """Yield what comes within `seconds`, with its time since the opening. Raises LinkError."""
    from warmwatch.links.python_can import can

    settings = settings_of(address)
    bus = opener_of(address, settings).open()
    reader, began_s = FrameReader(bus), time.monotonic()
    try:
        while (now_s := time.monotonic() - began_s) < seconds:
            with suppress(UnreadableFrame):
                if (frame := reader.receive(WAIT_S)) is not None:
                    yield now_s, frame
    except (can.CanError, OSError) as error:
        raise lost(settings.channel, error) from error
    finally:
        close_bus(bus)
