"""What a link that asks shows when it is tried, step by step."""

import time
from collections.abc import Iterator

from warmwatch.core.notice import Notice
from warmwatch.errors import LinkError
from warmwatch.links.address import Address
from warmwatch.links.asking.driver import OFFER, Carrier, Talking, serve
from warmwatch.links.asking.link import opener_of
from warmwatch.links.asking.plan import NO_FLUID
from warmwatch.links.asking.port import TalkPort
from warmwatch.links.asking.silent import WrongSetUp
from warmwatch.links.live import Values
from warmwatch.links.trying.steps import (
    Heard,
    Step,
    StepState,
    names_fluid,
    notice_state,
    reading_steps,
)

TRY_POLLS_S = 5.0


def try_asking(address: Address, unit: str = "C") -> Iterator[Step]:
    """Yield what setting up and TRY_POLLS_S of polling show; raises UsageError only."""
    opener = opener_of(address)

    def talking(carrier: Carrier) -> Talking:
        return serve(carrier, opener.wanted, opener.clock.elapsed_s)

    try:
        port = opener.open(talking)
    except LinkError as error:
        yield Step("port opened", StepState.FAILED, str(error))
        return
    try:
        yield from _tried(port, names_fluid(address), unit)
    finally:
        port.close()


def _tried(port: TalkPort, named: bool, unit: str) -> Iterator[Step]:
    readings: list[Heard] = []
    began_s: float | None = None
    failed: Step | None = None  # held back: a closer look may show what is really wrong
    try:
        while began_s is None or time.monotonic() - began_s < TRY_POLLS_S:
            for item in port.work():
                if isinstance(item, Step):
                    failed = item if item.state is StepState.FAILED else None
                    if failed is None or item.name == OFFER:
                        yield item
                    began_s = time.monotonic() if item.name == OFFER else None
                elif isinstance(item, Notice) and began_s is not None and item.text != NO_FLUID:
                    yield Step("link says", notice_state(item), item.text)
                elif isinstance(item, Values):
                    readings.append(Heard(time.monotonic(), item.values, item.doubts))
    except WrongSetUp as error:
        name = failed.name if failed else "link"
        yield Step(name, StepState.FAILED, error.seen, error.cure)
        return
    except LinkError as error:
        if failed is not None and began_s is None:
            yield failed
        else:
            yield Step("link", StepState.FAILED, str(error))
        return
    yield from reading_steps(readings, named=named, unit=unit)
