"""`serial:PORT`: an AT-command text adapter on a serial port, or on `socket://host:port`.

Options: `baud=`, `bus=` (auto, 11bit-500k ...), `signals=FILE` the vehicle's own identifiers,
`poll=SECONDS` the shortest time between polls, `usb=NUMBER` to find the port by its USB serial
number.
"""

import re
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass

from warmwatch.errors import LinkError, UsageError
from warmwatch.links.address import Address
from warmwatch.links.base import WAIT_S, Link
from warmwatch.links.byte_port import BytePort, PortOpener
from warmwatch.links.clock import SystemClock
from warmwatch.links.live import LiveLink, Polled
from warmwatch.links.serial.adapter import AnswerReader
from warmwatch.links.serial.serve import Talking, Wanted, serve
from warmwatch.links.serial.talk import Ask, Bus, Pause, Settle, Speed, Wish
from warmwatch.links.tally import Tally
from warmwatch.links.trying.steps import Step
from warmwatch.signals import load_signal_file
from warmwatch.signals.readonly import NotReading, check_reading

FASTEST_POLL_S = 0.2
USUAL_BAUDS = (38400, 115200, 9600, 230400)
SETTLE_AT_MOST_S = 3.0
TRY_POLLS_S = 5.0
_OPTIONS = ("baud", "usb", "bus", "signals", "poll")
# All that is ever said to the adapter itself; none of it outlives its next reset.
_COMMAND = re.compile(
    r"AT(Z|E0|L0|H1|S0|AT1|SP[06789]|DPN|RV|SH[0-9A-F]{3}|SH[0-9A-F]{6}|CRA[0-9A-F]{3,8}|AR)"
)


@dataclass(frozen=True, slots=True)
class SerialSettings:
    """How to reach an adapter and what to read through it."""

    name: str
    baud: int
    usb_serial: str
    wanted: Wanted


class TextPort:
    """Does what a talk wishes on one opened port: the only place that sends to an adapter."""

    def __init__(
        self, port: BytePort, talk: Talking, now_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._port = port
        self._talk = talk
        self._now_s = now_s
        self._reader = AnswerReader()
        self._wish: Wish | None = None
        self._until_s = 0.0
        self._quiet_until_s = 0.0
        self._lost: LinkError | None = None

    def poll(self) -> list[Polled]:
        """Do up to about WAIT_S of work and return what came."""
        return [item for item in self.work() if not isinstance(item, Step)]

    def work(self) -> list[Polled | Step]:
        """Like poll, with the steps that were taken."""
        if self._lost is not None:
            raise self._lost
        found: list[Polled | Step] = []
        try:
            if self._wish is None:
                self._go_on(None, found)
            until_s = self._now_s() + WAIT_S
            while not found and self._now_s() < until_s:
                self._serve_wish(found)
        except LinkError as error:
            if not found:
                raise
            self._lost = error  # what was found before comes first
        return found

    def close(self) -> None:
        self._talk.close()
        self._port.close()

    def _serve_wish(self, found: list[Polled | Step]) -> None:
        match self._wish:
            case Ask():
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

    def _go_on(self, text: str | None, found: list[Polled | Step]) -> None:
        """Send the talk what it waited for, keep what it found, and begin its next wish."""
        wish = next(self._talk) if self._wish is None else self._talk.send(text)
        while not isinstance(wish, Ask | Settle | Pause | Speed):
            found.append(wish)
            wish = self._talk.send(None)
        self._wish = wish
        now_s = self._now_s()
        match wish:
            case Ask(command, wait_s):
                self._until_s = now_s + wait_s
                self._reader.drop()
                self._send(command)
            case Settle(quiet_s):
                self._until_s, self._quiet_until_s = now_s + SETTLE_AT_MOST_S, now_s + quiet_s
                self._reader.drop()
            case Pause(seconds):
                self._until_s = now_s + seconds
            case Speed(baud):
                self._until_s = now_s
                self._port.set_baud(baud)

    def _send(self, command: str) -> None:
        """Send one command; nothing but the adapter's own commands and requests that read."""
        if not _COMMAND.fullmatch(command):
            try:
                check_reading(bytes.fromhex(command))
            except ValueError:
                raise NotReading(f"refused to send {command!r}") from None
        self._port.send(command.encode("ascii") + b"\r")


def open_address(address: Address, pace: float | None) -> Link:
    """Return the link of a `serial:` address; `pace` is ignored. Raises UsageError."""
    settings = settings_of(address)
    opener = PortOpener(settings.name, settings.baud, settings.usb_serial)
    signals = [asdict(signal) for signal in settings.wanted.signals]
    about = {"address": str(address), "signals": signals}
    return LiveLink(
        lambda: open_text_port(opener, settings.wanted),
        SystemClock(),
        about,
        settings.wanted.poll_s,
    )


def open_text_port(opener: PortOpener, wanted: Wanted) -> TextPort:
    """Open the port and begin the talk. Raises LinkLost or LinkRefused."""
    hint = " If this goes on, check cable and speed (?baud=)."
    tally = Tally("An answer of the adapter", "answer", hint, time.monotonic)
    return TextPort(opener.open(), serve(wanted, tally, time.monotonic))


def settings_of(address: Address) -> SerialSettings:
    """Return the settings in an address's options; UsageError says which one is wrong."""
    options = address.options
    unknown = [name for name in options if name not in _OPTIONS]
    if unknown:
        raise UsageError(f"serial: has no option {unknown[0]!r}; it has {', '.join(_OPTIONS)}.")
    bauds = _bauds(address)
    wanted = Wanted(
        signals=load_signal_file(options["signals"]).signals if "signals" in options else (),
        poll_s=max(FASTEST_POLL_S, number_option(options, "poll", FASTEST_POLL_S)),
        bus=_bus(options.get("bus", Bus.AUTO)),
        bauds=bauds,
    )
    return SerialSettings(address.rest, bauds[0] or 38400, options.get("usb", ""), wanted)


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
