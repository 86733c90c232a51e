"""The lines of a foreign CSV file: encoding, separator, header and rows are found out.

Separator `,` `;` or tab, UTF-8 (with or without a byte-order mark) or UTF-16, any line end.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from warmwatch.errors import InputError
from warmwatch.links.csv.cells import split_row

MAX_LINE = 1 << 16


@dataclass(frozen=True, slots=True)
class TableLines:
    """How the file is to be read, and its header. `rows` reads it from the start each time."""

    path: Path
    encoding: str
    separator: str
    header: tuple[str, ...]

    def rows(self) -> Iterator[list[str] | None]:
        """Yield the rows below the header; None for each with a quote that does not end on it."""
        lines = _lines(self.path, self.encoding)
        next(lines, None)  # the header
        opened = False
        for line in lines:
            row = split_row(line, self.separator)
            # Where a quote was left open, the next odd one is its end, not a cell of its own.
            ends = opened and line.count('"') % 2 == 1
            opened = not ends and (opened or row is None)
            yield None if ends else row


def find_lines(path: Path) -> TableLines:
    """Return how the file is to be read; InputError when it is empty or holds no text."""
    encoding = _encoding(path)
    first = next(_lines(path, encoding), None)
    if first is None:
        raise InputError(f"{path.name} is empty: nothing to replay.")
    if "\0" in first:
        raise InputError(f"{path.name} is not a text file: a CSV file is needed.")
    separator = max(";\t,", key=first.count)
    header = split_row(first, separator)
    if header is None:
        raise InputError(f"The header of {path.name} has a quote that does not end on its line.")
    return TableLines(path, encoding, separator, tuple(name.strip() for name in header))


def _encoding(path: Path) -> str:
    with path.open("rb") as file:
        start = file.read(2)
    return "utf-16" if start in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"


def _lines(path: Path, encoding: str) -> Iterator[str]:
    """Yield the lines that hold something."""
    with path.open(encoding=encoding, errors="replace", newline="") as file:
        number = 0
        while line := file.readline(MAX_LINE):
            number += 1
            if len(line) == MAX_LINE:
                raise InputError(f"{path.name} is not a CSV file: line {number} never ends.")
            if not line.isspace():
                yield line
