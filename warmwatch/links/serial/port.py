"""`serial:PORT`: an AT-command text adapter on a serial port, or on `socket://host:port`.

Options: `baud=`, `bus=` (auto, 11bit-500k ...), `signals=FILE` the vehicle's own identifiers,
`poll=SECONDS` the shortest time between polls, `answer=SECONDS` to wait for a unit's answer,
`usb=NUMBER` to find the port by its USB serial number.
"""

import re
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from warmwatch.errors import LinkError, UsageError
from warmwatch.links.address import Address
from warmwatch.links.asking.driver import Carrier, Pause, Talking, Wanted
from warmwatch.links.asking.patience import Patience
from warmwatch.links.asking.port import Found, TalkPort
from warmwatch.links.asking.silent import NotUnderstood
from warmwatch.links.base import WAIT_S
from warmwatch.links.byte_port import BytePort, PortOpener
from warmwatch.links.clock import Clock, SystemClock
from warmwatch.links.serial.adapter import AnswerReader
from warmwatch.links.serial.carrier import Adapting, TextCarrier
from warmwatch.links.serial.closer import other_device
from warmwatch.links.serial.talk import Ask, Bus, Listen, Settle, Speed
from warmwatch.links.serial.waiting import USUAL_S
from warmwatch.links.tally import Tally
from warmwatch.signals import load_signal_file
from warmwatch.signals.readonly import NotReading, check_reading

FASTEST_POLL_S = 0.2
USUAL_BAUDS = (38400, 115200, 9600, 230400, 57600)
SETTLE_AT_MOST_S = 3.0
_OPTIONS = ("baud", "usb", "bus", "signals", "poll", "answer", "extended")
# All that is ever said to the adapter itself; none of it outlives its next reset.
_COMMAND = re.compile(
    r"AT(Z|E0|L0|H1|S0|AT1|SP[06789]|DPN|RV|SH[0-9A-F]{3}|SH[0-9A-F]{6}|ST[0-9A-F]{2}|CRA[0-9A-F]{3,8}|AR|FCS(H[0-9A-F]{3,8}|D300000|M[01]))"
)


@dataclass(frozen=True, slots=True)
class SerialSettings:
    """How to reach an adapter and what to read through it. Times in seconds."""

    name: str
    baud: int
    usb_serial: str = ""
    wanted: Wanted = field(default_factory=lambda: Wanted(poll_s=FASTEST_POLL_S))
    bus: Bus = Bus.AUTO
    bauds: tuple[int | None, ...] = (None,)
    answer_s: float | None = None


class TextOpener:
    """Opens the adapter's port again and again, each time with a talk on it."""

    def __init__(
        self, settings: SerialSettings, ports: PortOpener | None = None, clock: Clock | None = None
    ) -> None:
        self.wanted = settings.wanted
        self.clock = clock or SystemClock()
        self._ports = ports or PortOpener(settings.name, settings.baud, settings.usb_serial)
        self._adapting = Adapting(
            settings.bus,
            settings.bauds,
            always_wait=settings.answer_s is not None,
            extended=self.wanted.may_extend(),
        )
        self._patience = Patience(settings.answer_s or USUAL_S)
        self._looked = False

    def open(self, talking: Callable[[Carrier], Talking]) -> "TextPort":
        """Return an opened port that runs the talk. Raises LinkLost or LinkRefused."""
        hint = " If this goes on, check cable and speed (?baud=)."
        tally = Tally("An answer of the adapter", "answer", hint, time.monotonic)
        port = self._ports.open()
        carrier = TextCarrier(port.name, self._adapting, self.wanted.signals, tally, self._patience)
        text_port = TextPort(port, talking(carrier), carrier)
        text_port.closer = lambda error: self._closer(port.name, error)
        return text_port

    def _closer(self, name: str, error: LinkError) -> LinkError:
        """Look once at what is there, where nothing answered as a text adapter does."""
        if self._looked or not isinstance(error, NotUnderstood):
            return error
        self._looked = True
        return other_device(name, self._adapting.bauds) or error


class TextPort(TalkPort):
    """Does what a talk wishes on one opened port: the only place that sends to an adapter."""

    def __init__(
        self,
        port: BytePort,
        talk: Talking,
        carrier: TextCarrier,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__(talk, now_s)
        self._port = port
        self._carrier = carrier
        self._reader = AnswerReader()
        self._until_s = 0.0
        self._quiet_until_s = 0.0

    def close(self) -> None:
        super().close()
        with suppress(LinkError):
            for command in self._carrier.farewell():
                self._send(command)
                self._port.receive()
        self._port.close()

    def _begin(self, wish: Any) -> None:
        now_s = self._now_s()
        match wish:
            case Ask(command, wait_s):
                self._until_s = now_s + wait_s
                self._reader.drop()
                self._send(command)
            case Settle(quiet_s):
                self._until_s, self._quiet_until_s = now_s + SETTLE_AT_MOST_S, now_s + quiet_s
                self._reader.drop()
            case Listen(seconds) | Pause(seconds):
                self._until_s = now_s + seconds
            case Speed(baud):
                self._until_s = now_s
                self._port.set_baud(baud)

    def _serve(self, found: list[Found]) -> bool:
        match self._wish:
            case Ask() | Listen():
                text = self._reader.receive(self._port.receive())
                if text is not None or self._now_s() >= self._until_s:
                    self._go_on(text, found)
            case Settle(quiet_s):
                if self._port.receive():
                    self._quiet_until_s = self._now_s() + quiet_s
                if self._now_s() >= min(self._quiet_until_s, self._until_s):
                    self._go_on(None, found)
            case _:
                left_s = self._until_s - self._now_s()
                if left_s > WAIT_S:
                    self._port.receive()  # so that an unplugged port shows before the pause ends
                else:
                    time.sleep(max(0.0, left_s))
                    self._go_on(None, found)
        return True

    def _send(self, command: str) -> None:
        """Send one command; nothing but the adapter's own commands and requests that read."""
        if not _COMMAND.fullmatch(command):
            try:
                check_reading(bytes.fromhex(command), extended=self._carrier.extended)
            except ValueError:
                raise NotReading(f"refused to send {command!r}") from None
        self._port.send(command.encode("ascii") + b"\r")


def opener_of(address: Address) -> TextOpener:
    """Return the opener of a `serial:` address. Raises UsageError."""
    return TextOpener(settings_of(address))


def settings_of(address: Address) -> SerialSettings:
    """Return the settings in an address's options; UsageError says which one is wrong."""
    options = address.options
    unknown = [name for name in options if name not in _OPTIONS]
    if unknown:
        raise UsageError(f"serial: has no option {unknown[0]!r}; it has {', '.join(_OPTIONS)}.")
    bauds = _bauds(address)
    return SerialSettings(
        name=address.rest,
        baud=bauds[0] or USUAL_BAUDS[0],
        usb_serial=options.get("usb", ""),
        wanted=Wanted(
            load_signal_file(options["signals"]).signals if "signals" in options else (),
            max(FASTEST_POLL_S, number_option(options, "poll", FASTEST_POLL_S)),
            options.get("extended") == "yes",
        ),
        bus=_bus(options.get("bus", Bus.AUTO)),
        bauds=bauds,
        answer_s=number_option(options, "answer", 1.0) if "answer" in options else None,
    )


def _bauds(address: Address) -> tuple[int | None, ...]:
    if "baud" in address.options:
        return (int(number_option(address.options, "baud", 0.0)),)
    return (None,) if "://" in address.rest else USUAL_BAUDS


def _bus(text: str) -> Bus:
    try:
        return Bus(text)
    except ValueError:
        raise UsageError(f"bus={text} is unknown: use {', '.join(Bus)}.") from None


def number_option(options: Mapping[str, str], key: str, default: float) -> float:
    """Return a number above 0. Raises UsageError."""
    try:
        number = float(options.get(key, default))
    except ValueError:
        number = 0.0
    if not 0.0 < number < 1e7:
        raise UsageError(f"?{key}={options[key]} must be a number above 0.")
    return number
