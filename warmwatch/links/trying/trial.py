"""Tries a link and says what it sees, step by step."""

import time
from collections.abc import Iterator
from importlib import import_module

from warmwatch.core.notice import Notice
from warmwatch.core.reading import Reading
from warmwatch.errors import LinkError
from warmwatch.links.address import Address
from warmwatch.links.base import open_link
from warmwatch.links.trying.asking import try_asking
from warmwatch.links.trying.steps import (
    Heard,
    Step,
    StepState,
    TryAddress,
    names_fluid,
    notice_state,
    reading_steps,
)

LISTEN_S = 8.0


def try_link(address: Address, seconds: float = LISTEN_S, unit: str = "C") -> Iterator[Step]:
    """Yield steps as they are taken; `unit` is "C" or "F", for temperatures.

    Raises UsageError for an address that cannot be meant.
    """
    if address.about_kind.transport:
        yield from try_asking(address, unit)
    elif address.about_kind.trial:
        module = import_module(address.about_kind.trial)
        own: TryAddress = module.try_address
        yield from own(address, unit)
    else:
        yield from listen(address, seconds, unit)


def listen(address: Address, seconds: float, unit: str = "C") -> Iterator[Step]:
    """Open the link as `watch` does, listen for `seconds`, and say what came."""
    link = open_link(address, pace=None)
    readings: list[Heard] = []
    until_s = time.monotonic() + seconds
    try:
        for item in link.items():
            if isinstance(item, Notice):
                yield Step("link says", notice_state(item), item.text)
            elif isinstance(item, Reading):
                if not readings:
                    yield Step("link opened", StepState.OK, str(address))
                readings.append(Heard(item.elapsed_s, item.values, item.doubts))
            if time.monotonic() >= until_s:
                break
    except LinkError as error:
        yield Step("link opened", StepState.FAILED, str(error))
        return
    finally:
        link.close()
    if not readings:
        yield Step(
            "readings",
            StepState.FAILED,
            f"none came in {seconds:.0f} seconds",
            address.about_kind.advice,
        )
        return
    yield from reading_steps(readings, named=names_fluid(address), unit=unit)
