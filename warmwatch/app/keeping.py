"""`--keep-bus`: what went over the wire, kept beside the recording, its digest in the recording."""

import time
from collections.abc import Iterator, Mapping
from pathlib import Path

from warmwatch.core.notice import Notice
from warmwatch.core.reading import Mark, MarkName
from warmwatch.errors import UsageError
from warmwatch.links import Address, open_link
from warmwatch.links.base import LinkItem
from warmwatch.links.keeping import Keeper, kept_by

ENDING = ".bus"


class KeptLink:
    """A link whose traffic is kept. `begin` names the file; `parting` are the last marks."""

    def __init__(self, address: Address, pace: float | None) -> None:
        if not address.about_kind.keeps:
            raise UsageError(f"--keep-bus: {address.kind}: has no bus whose traffic could be kept.")
        self._keeper = Keeper()
        with kept_by(self._keeper):
            self._link = open_link(address, pace=pace)

    @property
    def poll_s(self) -> float | None:
        return self._link.poll_s

    @property
    def replay(self) -> bool:
        return self._link.replay

    def describe(self) -> Mapping[str, object]:
        return self._link.describe()

    def elapsed_s(self) -> float:
        return self._link.elapsed_s()

    def begin(self, recording: Path) -> None:
        """Keep from now on, beside the recording, on the clock of its readings."""
        began_s = time.time() - self._link.elapsed_s()
        stem = recording.with_name(recording.stem + ENDING)
        self._keeper.begin(stem, lambda: began_s + self._link.elapsed_s())

    def items(self) -> Iterator[LinkItem]:
        for item in self._link.items():
            yield item
            for text in self._keeper.news():
                yield Notice(text, alarm=True)

    def parting(self) -> list[Mark]:
        """End the keeping; return a note with the file's digest, for the recording."""
        kept = self._keeper.end()
        if kept is None:
            return []
        return [Mark(self._link.elapsed_s(), MarkName.NOTE, kept.words, time.time())]

    def close(self) -> None:
        self._link.close()
