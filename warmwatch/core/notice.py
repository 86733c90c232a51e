"""Something to be told that is no reading, mark or event."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Notice:
    """Something to be told in plain words.

    `lost` says that no reading can come until it mends; `alarm` that it must be heard, too.
    """

    text: str
    lost: bool = False
    alarm: bool = False
