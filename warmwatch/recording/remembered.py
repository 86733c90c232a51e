"""Keeps all rows of a recording, packed, to write it again when others damage its file."""

import zlib
from collections.abc import Iterator

MOST_PACKED = 1 << 26
"""Bytes: some days at 10 Hz. Beyond that nothing is kept, and `whole` is False."""
_TOGETHER = 1000


class Remembered:
    """The rows' text without digests, in their order; iterating gives them."""

    def __init__(self) -> None:
        self.count = 0
        self.whole = True
        self._packed: list[bytes] = []
        self._packed_size = 0
        self._loose: list[str] = []

    def add(self, body: str) -> None:
        """Take the next row."""
        self.count += 1
        if not self.whole:
            return
        self._loose.append(body)
        if len(self._loose) == _TOGETHER:
            self._pack()

    def _pack(self) -> None:
        packed = zlib.compress("\n".join(self._loose).encode("utf-8"), 1)
        self._loose.clear()
        self._packed.append(packed)
        self._packed_size += len(packed)
        if self._packed_size > MOST_PACKED:
            self.whole = False
            self._packed.clear()

    def __iter__(self) -> Iterator[str]:
        for packed in self._packed:
            yield from zlib.decompress(packed).decode("utf-8").split("\n")
        yield from self._loose
