"""What `log:` shows when it is tried: the buses, who sends the fluid, and what is read."""

import time
from collections.abc import Iterator
from pathlib import Path

from warmwatch.core.notice import Notice
from warmwatch.core.reading import Reading
from warmwatch.errors import InputError
from warmwatch.links.address import Address
from warmwatch.links.broadcast.trial import sender_steps
from warmwatch.links.log.files import LogFile
from warmwatch.links.log.port import RecordedBus
from warmwatch.links.trying.steps import (
    Heard,
    Step,
    StepState,
    names_fluid,
    notice_state,
    reading_steps,
)

READ_S = 8.0
"""A long log is read for so long; what it shows then is shown."""


def try_address(address: Address, unit: str) -> Iterator[Step]:
    """Yield what READ_S of reading show; raises UsageError only."""
    try:
        source = RecordedBus(LogFile(Path(address.rest)), address)
    except InputError as error:
        yield Step("log opened", StepState.FAILED, str(error))
        return
    yield Step("log opened", StepState.OK, source.words)
    readings: list[Heard] = []
    until_s = time.monotonic() + READ_S
    for item in source:
        if isinstance(item, Notice):
            yield Step("log says", notice_state(item), item.text)
        elif isinstance(item, Reading):
            readings.append(Heard(item.elapsed_s, item.values, item.doubts))
        if time.monotonic() > until_s:
            break
    if source.listened is not None:
        yield from sender_steps(source.listened, unit)
    yield from reading_steps(readings, named=names_fluid(address), unit=unit)
