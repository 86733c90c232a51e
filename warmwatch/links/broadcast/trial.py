"""What `broadcast:` shows when it is tried: the traffic, who sends the fluid, and what is read."""

import time
from collections.abc import Iterator

from warmwatch.core.notice import Notice
from warmwatch.core.units import from_c
from warmwatch.errors import LinkError
from warmwatch.links.address import Address
from warmwatch.links.broadcast.listening import Listened
from warmwatch.links.broadcast.port import BroadcastPort, opener_of, settings_of
from warmwatch.links.broadcast.senders import FLUID, Heard
from warmwatch.links.live import Values
from warmwatch.links.trying.steps import (
    Heard as Read,
)
from warmwatch.links.trying.steps import (
    Step,
    StepState,
    names_fluid,
    notice_state,
    reading_steps,
)

LISTEN_S = 8.0


def try_address(address: Address, unit: str) -> Iterator[Step]:
    """Yield what LISTEN_S of listening show; raises UsageError only."""
    settings = settings_of(address)
    try:
        port = BroadcastPort(settings, opener_of(address, settings).open())
    except LinkError as error:
        yield Step("interface opened", StepState.FAILED, str(error))
        return
    readings: list[Read] = []
    try:
        yield Step("interface opened", StepState.OK, settings.channel)
        yield from _listen(port, readings)
    except LinkError as error:
        yield Step("bus traffic", StepState.FAILED, str(error), address.about_kind.advice)
        return
    finally:
        port.close()
    yield _traffic(port.listened)
    yield from sender_steps(port.listened, unit)
    yield from reading_steps(readings, named=names_fluid(address), unit=unit)


def _listen(port: BroadcastPort, readings: list[Read]) -> Iterator[Step]:
    until_s = time.monotonic() + LISTEN_S
    while (now_s := time.monotonic()) < until_s:
        for item in port.poll():
            if isinstance(item, Notice):
                yield Step("link says", notice_state(item), item.text)
            elif isinstance(item, Values):
                readings.append(Read(now_s, item.values, item.doubts))


def _traffic(listened: Listened) -> Step:
    seen = f"{listened.frames / LISTEN_S:.0f} frames a second"
    if not listened.bus_errors:
        return Step("bus traffic", StepState.OK, seen)
    errors = f"{seen}, {listened.bus_errors} errors"
    return Step("bus traffic", StepState.UNKNOWN, errors, "check the bitrate and the cable")


def sender_steps(listened: Listened, unit: str) -> Iterator[Step]:
    """Yield who sends the fluid's temperature, the best first, and which of them is used."""
    senders = listened.senders.of(FLUID)
    if not senders:
        return
    held = listened.senders.held(FLUID)
    seen = "; ".join(
        _sender(one, unit) + (", used" if one.sender is held else "") for one in senders
    )
    if len(senders) == 1:
        yield Step("sender of the fluid", StepState.OK, seen)
        return
    advice = "choose with source=; compare with a thermometer if in doubt"
    yield Step("senders of the fluid", StepState.UNKNOWN, seen, advice)


def _sender(heard: Heard, unit: str) -> str:
    shown = "no value" if heard.value is None else f"{from_c(heard.value, unit):.1f} °{unit}"
    return f"{heard.sender.words} {shown}"
