"""Talking with an AT-command text adapter: what to say, and what its answers mean. No I/O.

Everything here is a generator that yields what it wants done (`Ask`, `Settle`, `Listen`, `Pause`,
`Speed`) or what it found (`Step`, readings, notices) and is sent the text of an answer, or None
when no prompt came in time. Only the core that nearly all such adapters know is spoken; unsupported
commands are skipped.
"""

import re
from collections.abc import Generator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from warmwatch.errors import LinkLost
from warmwatch.links.asking.driver import Pause
from warmwatch.links.asking.silent import VehicleSilent
from warmwatch.links.asking.units import FIXED, K_LINE, NORMAL, Addressing, is_wide
from warmwatch.links.live import Polled
from warmwatch.links.serial.adapter import Headers, Word, headers_in, read_answer
from warmwatch.links.trying.steps import Step, StepState
from warmwatch.signals.answers import NEGATIVE, POSITIVE_OFFSET


@dataclass(frozen=True, slots=True)
class Ask:
    """Send `text` and wait up to `wait_s` for the prompt."""

    text: str
    wait_s: float = 2.0


@dataclass(frozen=True, slots=True)
class Settle:
    """Drop what comes until nothing came for `quiet_s`: the next answer must be the next one's."""

    quiet_s: float = 0.3


@dataclass(frozen=True, slots=True)
class Listen:
    """Take what comes without being asked for, for `seconds`; the text may be empty."""

    seconds: float


@dataclass(frozen=True, slots=True)
class Speed:
    """Set the port's speed."""

    baud: int


Wish = Ask | Settle | Listen | Pause | Speed | Step | Polled


class Bus(StrEnum):
    """The CAN buses that carry diagnostics (ISO 15765-4: 11 or 29 bits at 250 or 500 kbit/s)."""

    AUTO = "auto"
    BITS_11_500K = "11bit-500k"
    BITS_29_500K = "29bit-500k"
    BITS_11_250K = "11bit-250k"
    BITS_29_250K = "29bit-250k"


_DIGITS = {"0": Bus.AUTO, "6": Bus.BITS_11_500K, "7": Bus.BITS_29_500K}
_DIGITS |= {"8": Bus.BITS_11_250K, "9": Bus.BITS_29_250K}
ISO_9141 = "3"
_K_LINES = {ISO_9141: "ISO 9141-2", "4": "ISO 14230-4, slow start", "5": "ISO 14230-4, fast start"}
_DIGIT_OF = {bus: digit for digit, bus in _DIGITS.items()}
_SETUP = {
    "ATE0": "echo off",
    "ATL0": "line feeds off",
    "ATH1": "identifiers on",
    "ATS0": "spaces off",
    "ATAT1": "adaptive timing",
}
_FIRST_REQUEST = "0100"
TESTER_PRESENT = "3E00"
LONGEST_WAIT = "ATSTFF"
_SEARCH_S = 20.0
COMMAND_WAIT_S = 1.0
_VOLTS = re.compile(r"(\d{1,2}\.\d{1,2})V?")
IGNITION = "switch the ignition on (engine running only outdoors: exhaust gas) and check the plug"
OLDER_BUS = "serial: reads CAN and K-line; a thermometer that prints numbers can be read by lines:"


@dataclass(frozen=True, slots=True)
class Adapter:
    """What was found out about an adapter and the bus behind it."""

    headers: Headers
    wide: bool
    aims: bool = True

    @property
    def addressing(self) -> Addressing:
        """How units are reached."""
        if self.headers is Headers.K_LINE:
            return K_LINE
        return FIXED if self.wide else NORMAL


def set_up(bus: Bus) -> Generator[Wish, str | None, None]:
    """Say how answers should look, and tell which commands the adapter does not know."""
    unknown = set()
    for command in (*_SETUP, f"ATSP{_DIGIT_OF[bus]}"):
        if not (yield from accepted(command)):
            unknown.add(command)
    if len(unknown) > len(_SETUP):
        raise LinkLost(
            "The adapter answers, but knows none of the usual commands or is garbled: "
            "check the speed (?baud=)."
        )
    names = [_SETUP.get(command, "choice of bus") for command in sorted(unknown)]
    if names:
        yield Step("adapter set up", StepState.UNKNOWN, f"it does not know: {', '.join(names)}")
    else:
        yield Step("adapter set up", StepState.OK, "it knows every command asked of it")


def battery(tries: int = 2) -> Generator[Wish, str | None, float | None]:
    """Return the voltage at the plug in V, where the adapter can tell it."""
    for _ in range(tries):
        text = yield Ask("ATRV", COMMAND_WAIT_S)
        for line in _lines(text, "ATRV"):
            if match := _VOLTS.fullmatch(line):
                return float(match[1])
    return None


def find_bus(
    bus: Bus, own: Sequence[str] = (), target: int | None = None
) -> Generator[Wish, str | None, Adapter]:
    """Reach the vehicle and return which bus it is and how answers look.

    `own` are requests of the signal file: a vehicle may answer only these. With `target`, the
    address of a unit, or a bus that the user gave, silence is no reason to give up.
    Raises LinkLost when the vehicle is silent or its bus is not CAN.
    """
    text, headers = yield from _first_answer(bus)
    digit = yield from _bus_digit()
    if headers is None and digit is not None and digit in "12345":
        return (yield from _older(digit, text))
    if headers is None and bus is Bus.AUTO:
        found = yield from _knocked(own)
        if found is not None:
            return found
        if target is not None:
            return (yield from _taken_for(target))
    if headers is None:
        yield from _silent(bus, text)
    return (yield from _adapter(_DIGITS.get(digit or "", bus), headers))


def _older(digit: str, text: str) -> Generator[Wish, str | None, Adapter]:
    """Return the K-line that answered. Raises LinkLost for every other bus that is not CAN."""
    if digit in _K_LINES and _answers(text, _FIRST_REQUEST, Headers.K_LINE):
        yield Step("bus", StepState.OK, f"K-line, {_K_LINES[digit]}")
        return Adapter(Headers.K_LINE, wide=False, aims=digit != ISO_9141)
    seen = "neither CAN nor a K-line that answers"
    yield Step("bus", StepState.FAILED, f"an older kind of bus, {seen}", OLDER_BUS)
    raise LinkLost(f"The diagnostic bus of this vehicle is {seen}: {OLDER_BUS}.")


def _adapter(bus: Bus, headers: Headers | None) -> Generator[Wish, str | None, Adapter]:
    wide = bus.value.startswith("29")
    if headers in (Headers.BITS_11, Headers.BITS_29):  # what was seen beats what was said
        wide = headers is Headers.BITS_29
    shown = headers or (Headers.BITS_29 if wide else Headers.BITS_11)
    name = bus.value if bus is not Bus.AUTO else f"{29 if wide else 11}-bit, speed not told"
    yield Step("bus", StepState.OK if headers else StepState.UNKNOWN, f"CAN, {name}")
    return Adapter(shown, wide)


def _first_answer(bus: Bus) -> Generator[Wish, str | None, tuple[str, Headers | None]]:
    """Put the standard's first request; the second time with the longest wait."""
    text: str | None = None
    for patient in (False, True):
        if patient:
            yield Ask(LONGEST_WAIT, COMMAND_WAIT_S)
        text = yield Ask(_FIRST_REQUEST, _SEARCH_S if bus is Bus.AUTO else 5.0)
        headers = _headers_of(text or "", _FIRST_REQUEST)
        if headers is not None:
            return text or "", headers
        yield Settle()
    return text or "", None


def _knocked(own: Sequence[str]) -> Generator[Wish, str | None, Adapter | None]:
    """Try each CAN bus with requests that a vehicle without service 01 may answer."""
    for bus in list(_DIGIT_OF)[1:]:
        yield Ask(f"ATSP{_DIGIT_OF[bus]}", COMMAND_WAIT_S)
        for request in (TESTER_PRESENT, *own):
            text = yield Ask(request, 5.0)
            headers = _headers_of(text or "", request)
            if headers is not None:
                return (yield from _adapter(bus, headers))
    return None


def _taken_for(target: int) -> Generator[Wish, str | None, Adapter]:
    """Take the usual bus for such an address."""
    bus = Bus.BITS_29_500K if is_wide(target) else Bus.BITS_11_500K
    seen = f"nobody answers the standard's requests; {target:X} is asked all the same on {bus}"
    yield Step("bus", StepState.UNKNOWN, seen, "name another with ?bus=")
    yield Ask(f"ATSP{_DIGIT_OF[bus]}", COMMAND_WAIT_S)
    wide = bus is Bus.BITS_29_500K
    return Adapter(Headers.BITS_29 if wide else Headers.BITS_11, wide)


def _headers_of(text: str, request: str) -> Headers | None:
    """Return the form in which `text` makes sense as an answer to the request."""
    for headers in (headers_in(text, request), Headers.NONE):
        if headers is not None and _answers(text, request, headers):
            return headers
    return None


def _answers(text: str, request: str, headers: Headers) -> bool:
    """True when `text`, read in this form, holds an answer to the request."""
    service = int(request[:2], 16)
    starts = (bytes([service + POSITIVE_OFFSET]), bytes([NEGATIVE, service]))
    payloads = read_answer(text, request, headers).payloads
    return any(payload.data.startswith(starts) for payload in payloads)


def _silent(bus: Bus, text: str) -> Generator[Wish, str | None, None]:
    words = read_answer(text, _FIRST_REQUEST, Headers.NONE).words - {Word.SEARCHING, Word.OK}
    seen = next(iter(sorted(words)), "no answer that can be read")
    if bus is not Bus.AUTO:
        yield Step("vehicle answers", StepState.UNKNOWN, seen, IGNITION)
        return
    advice = f"{IGNITION}, or name the bus (?bus={Bus.BITS_11_500K} or another)"
    yield Step("vehicle answers", StepState.FAILED, seen, advice)
    raise VehicleSilent(f"The adapter works, but the vehicle does not answer ({seen}): {advice}.")


def _bus_digit() -> Generator[Wish, str | None, str | None]:
    text = yield Ask("ATDPN", COMMAND_WAIT_S)
    for line in _lines(text, "ATDPN"):
        if match := re.fullmatch(r"A?([0-9A-F])", line):
            return match[1]
    return None


def accepted(command: str) -> Generator[Wish, str | None, bool]:
    """Return whether the adapter took a command; a garbled answer is asked again once."""
    for _ in range(2):
        text = yield Ask(command, COMMAND_WAIT_S)
        words = read_answer(text or "", command, Headers.NONE).words
        if Word.OK in words:
            return True
        if words == {Word.UNKNOWN}:
            return False
        yield Settle()
    return False


def _lines(text: str | None, command: str) -> list[str]:
    lines = [line.replace(" ", "").upper() for line in re.split(r"[\r\n]+", text or "")]
    return [line for line in lines if line and line != command]
