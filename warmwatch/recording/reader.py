"""Reads a recording: row by row for the fold, as a DataFrame for everybody else."""

import io
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, NamedTuple

from warmwatch.core.reading import Item
from warmwatch.errors import RecordingError
from warmwatch.recording.rows import row_item, unguard
from warmwatch.recording.schema import KIND, MAX_HEADER, Schema, current_schema, schema_of
from warmwatch.recording.sidecar import read_sidecar

if TYPE_CHECKING:
    import pandas as pd

MAX_LINE = 1 << 16
"""No line of a recording is so long; a file with longer ones is something else."""


class Row(NamedTuple):
    """One whole line: its number in the file (the header is 1), its text and its cells."""

    number: int
    line: str
    texts: list[str]
    schema: Schema

    @property
    def kind(self) -> str:
        """What the row holds."""
        return self.texts[KIND]

    @property
    def cells(self) -> dict[str, str]:
        """The cells by column."""
        return dict(zip(self.schema.columns, self.texts, strict=True))

    @property
    def item(self) -> Item | None:
        """The input of the fold that the row holds, None for events and the like.

        Raises ValueError when a cell cannot be read.
        """
        return row_item(self.schema, self.texts)


class RowReader:
    """Iterates over the whole rows of a recording, in bounded memory.

    `schema` has its columns, once the first row was read. After the iteration `torn` tells what the
    last line is if it is not whole (empty text when all is whole), and `closed` whether the
    recording was closed properly. A broken line before the end raises RecordingError.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.schema = current_schema()
        self.torn = ""
        self.closed = False

    def __iter__(self) -> Iterator[Row]:
        pending: Row | None = None
        for number, line, whole in iter_lines(self.path):
            if number == 1:
                self.schema = self._schema(line)
                continue
            if self.torn:
                raise RecordingError(
                    f"{self.path.name} is broken at row {number - 1} and goes on after it: "
                    "it was changed or damaged."
                )
            cells = self._cells(line) if whole else None
            if cells is None:
                self.torn = f"row {number} is torn ({len(line)} characters of it are left)"
                continue
            pending = Row(number, line, cells, self.schema)
            yield pending
        self.closed = pending is not None and pending.kind == "closed" and not self.torn

    def _schema(self, line: str) -> Schema:
        schema = schema_of(line.removeprefix("\ufeff"))  # a spreadsheet may have put a mark there
        if schema is None:
            raise RecordingError(f"{self.path.name} is not a warmwatch recording.")
        return schema

    def _cells(self, line: str) -> list[str] | None:
        try:
            return self.schema.cells(line)
        except ValueError:
            return None


def iter_lines(path: Path) -> Iterator[tuple[int, str, bool]]:
    """Yield (line number, text without line end, whether the line end was there).

    Raises RecordingError for a file that cannot be read, or whose lines are longer than MAX_LINE.
    """
    try:
        with path.open("rb") as file:
            number = 0
            while data := file.readline(MAX_LINE):
                number += 1
                if number > 1 and data.startswith(b"\0"):
                    _refuse_what_follows_nothing(path, number, data, file)
                    yield number, "", False
                    return
                if len(data) == MAX_LINE:
                    raise RecordingError(
                        f"{path.name} is not a recording: line {number} never ends."
                    )
                text = data.rstrip(b"\r\n").decode("utf-8", "replace")
                yield number, text, data.endswith(b"\n")
    except OSError as error:
        raise RecordingError(f"Cannot read {path} ({error.strerror or error}).") from None


def _refuse_what_follows_nothing(path: Path, number: int, data: bytes, file: BinaryIO) -> None:
    """Accept zero bytes to the end: a power cut may leave them in place of text."""
    while data:
        if data.strip(b"\0"):
            raise RecordingError(
                f"{path.name} is broken at row {number}: it was changed or damaged."
            )
        data = file.read(MAX_LINE)


def is_recording(path: Path) -> bool:
    """Return whether the file begins like one of our recordings; False when it cannot be read."""
    try:
        # A pipe would be emptied, or waited for, by looking into it.
        return path.is_file() and _begins_like_one(path)
    except OSError:
        return False


def require_recording(path: Path) -> None:
    """Raise RecordingError unless the file is there and begins like one of our recordings."""
    try:
        if not path.exists():
            raise RecordingError(f"There is no file {path}: check the name and the folder.")
        if not _begins_like_one(path):
            raise RecordingError(f"{path.name} is not a warmwatch recording.")
    except OSError as error:
        raise RecordingError(f"Cannot read {path} ({error.strerror or error}).") from None


def _begins_like_one(path: Path) -> bool:
    with path.open("rb") as file:
        first = file.readline(MAX_HEADER)
    line = first.removeprefix(b"\xef\xbb\xbf").rstrip(b"\r\n").decode("utf-8", "replace")
    return schema_of(line) is not None


def read_recording(path: str | Path) -> "pd.DataFrame":
    """Return a recording as a DataFrame, one row for each line, columns as in recording.schema.

    `time` is datetime64 (UTC), `elapsed_s`, `crossed_s` and the quantities are float64 with NaN for
    empty, the rest is text with "" for empty. `.attrs` holds `sidecar` (dict), `torn` (what is
    wrong with the last line, left out of the frame; empty text when nothing) and `closed` (bool).
    Raises RecordingError when the file is no recording or is broken before its end.
    """
    import pandas as pd

    path = Path(path)
    reader = RowReader(path)
    lines = [row.line for row in reader]
    schema = reader.schema
    numbers = schema.numbers
    frame = pd.read_csv(
        io.StringIO("\n".join([schema.header, *lines])),
        dtype={name: "float64" if name in numbers else "str" for name in schema.columns},
        keep_default_na=False,
        na_values={name: [""] for name in numbers},
    )
    frame["time"] = pd.to_datetime(frame["time"].replace("", None), utc=True, format="ISO8601")
    for name in ("text", "other", "doubts", "raw"):
        frame[name] = frame[name].map(unguard)
    frame.attrs = {"sidecar": read_sidecar(path), "torn": reader.torn, "closed": reader.closed}
    return frame
