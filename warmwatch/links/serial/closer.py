"""What is really there, when nothing answers at a port as a text adapter does."""

from collections.abc import Collection

from warmwatch.errors import LinkError
from warmwatch.links.asking.silent import WrongSetUp


def other_device(name: str, bauds: Collection[int | None]) -> LinkError | None:
    """Return what is at the port instead, None where that does not show. Takes some seconds."""
    from warmwatch.links.trying.finding import recognise

    found = recognise(name)
    if found.kind == "can":
        return WrongSetUp(f"at {name} is {found.seen}, not a text adapter", f"use {found.address}")
    if found.kind == "lines":
        return WrongSetUp(f"at {name} is {found.seen}", f"use {found.address}")
    if found.kind == "serial" and found.speed not in bauds:
        return WrongSetUp(
            f"the text adapter at {name} answers at {found.speed} baud", f"baud={found.speed}"
        )
    return None
