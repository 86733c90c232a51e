"""`can:CHANNEL?interface=...`: asks a vehicle over ISO-TP, and only ever reads.

Every option that is not ours goes to python-can. Ours: `signals=FILE` the vehicle's own
identifiers, `poll=SECONDS` between polls, `answer=SECONDS` to wait for an answer, `addressing=`
normal, fixed or extended (with `request_id=`, `answer_id=`, `target=` in hex digits), `usb=NUMBER`
the USB serial number of the adapter's port, to follow it when it comes back under another name.
"""

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from warmwatch.errors import LinkError
from warmwatch.links.address import Address
from warmwatch.links.asking.driver import Carrier, Pause, Talking, Wanted
from warmwatch.links.asking.patience import Patience
from warmwatch.links.asking.port import Found, TalkPort
from warmwatch.links.asking.units import FIXED, NORMAL, Addressing, addressings
from warmwatch.links.can.bus import BusOpener, bus_options, lost, seconds_option
from warmwatch.links.can.carrier import CanCarrier
from warmwatch.links.can.closer import looked_closer
from warmwatch.links.can.transport import Transport
from warmwatch.links.clock import Clock, SystemClock
from warmwatch.signals import load_signal_file

OWN_OPTIONS = frozenset(
    {
        "signals",
        "poll",
        "answer",
        "extended",
        "addressing",
        "request_id",
        "answer_id",
        "target",
        "usb",
    }
)


@dataclass(frozen=True, slots=True)
class CanSettings:
    """How to reach a vehicle. Times in seconds; `wanted.poll_s` is on the opener's clock."""

    channel: str
    options: Mapping[str, object]
    wanted: Wanted = field(default_factory=Wanted)
    answer_s: float = 0.4
    addressings: tuple[Addressing, ...] = (NORMAL, FIXED)
    pause_step_s: float = 0.02
    usb_serial: str = ""


class CanOpener:
    """Opens the bus again and again, each time with a talk on it."""

    def __init__(self, settings: CanSettings, clock: Clock | None = None) -> None:
        self.settings = settings
        self.wanted = settings.wanted
        self.clock = clock or SystemClock()
        self._buses = BusOpener(settings.channel, settings.options, settings.usb_serial)
        self._patience = Patience(settings.answer_s)
        self._carrier: CanCarrier | None = None
        self._looked = False

    def open(self, talking: Callable[[Carrier], Talking]) -> "CanPort":
        """Return an opened port that runs the talk. Raises LinkRefused or LinkLost."""
        if self._carrier is not None and self._carrier.answered:
            self._buses.keep()
        transport = Transport(self._buses.open())
        transport.extended = self.wanted.may_extend()
        carrier = self._carrier = CanCarrier(
            transport, self.settings.channel, self._buses.bitrates,
            self.settings.addressings, self._patience,
        )  # fmt: skip
        port = CanPort(transport, carrier, talking(carrier), self.settings, self.clock)
        port.closer = self._closer
        return port

    def _closer(self, error: LinkError) -> LinkError:
        """Look once at what is there, where nobody ever answered; the bus is closed meanwhile."""
        if self._looked or self._carrier is None or self._carrier.answered:
            return error
        self._looked = True
        return looked_closer(self.settings.channel, self.settings.options, self._buses) or error


class CanPort(TalkPort):
    """One opened bus. Waits for answers are real time; pauses are the clock's."""

    def __init__(
        self,
        transport: Transport,
        carrier: CanCarrier,
        talk: Talking,
        settings: CanSettings,
        clock: Clock,
    ) -> None:
        super().__init__(talk, clock.elapsed_s)
        self._transport = transport
        self._carrier = carrier
        self._settings = settings
        self._clock = clock
        self._until_s = 0.0

    def work(self) -> list[Found]:
        from warmwatch.links.python_can import can

        try:
            return super().work()
        except (can.CanError, OSError) as error:
            raise lost(self._settings.channel, error) from error

    def close(self) -> None:
        super().close()
        with suppress(Exception):  # a lost adapter's driver may fail in any way
            self._carrier.leave()
        self._transport.close()

    def _begin(self, wish: Any) -> None:
        seconds = wish.seconds if isinstance(wish, Pause) else 0.0
        self._until_s = self._now_s() + seconds

    def _serve(self, found: list[Found]) -> bool:
        left_s = round(self._until_s - self._now_s(), 9)
        if left_s > 0 and isinstance(self._wish, Pause):
            self._clock.wait(min(left_s, self._settings.pause_step_s))
            self._carrier.overhear()
            return False
        self._go_on(None, found)
        return True


def opener_of(address: Address) -> CanOpener:
    """Return the opener of a `can:` address. Raises UsageError."""
    return CanOpener(settings_of(address))


def settings_of(address: Address) -> CanSettings:
    """Return the settings in an address's options; UsageError says which one is wrong."""
    options = address.options
    signals = load_signal_file(options["signals"]).signals if "signals" in options else ()
    return CanSettings(
        channel=address.rest,
        options=bus_options(address, OWN_OPTIONS),
        wanted=Wanted(
            signals, seconds_option(options, "poll", 1.0), options.get("extended") == "yes"
        ),
        answer_s=seconds_option(options, "answer", 0.4),
        addressings=addressings(options),
        usb_serial=options.get("usb", ""),
    )
