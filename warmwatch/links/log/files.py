"""Opens a log of bus traffic in any format and copes with damage. Memory use stays the same."""

import gzip
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, BinaryIO, Protocol, TextIO, cast

from warmwatch.errors import InputError, UsageError
from warmwatch.links.kinds import ENDINGS

if TYPE_CHECKING:
    import can

MAX_LINE = 1 << 16
HEAD_LINES = 50


class FrameFile(Protocol):
    """What reads one log: iterate it for frames, then stop it."""

    def __iter__(self) -> Iterator["can.Message"]: ...

    def stop(self) -> None:
        """Close the file."""


class LogFile:
    """One log. `frames` reads it from the start each time; `faults` counts what one pass lost.

    Raises UsageError for no file and InputError for a format that cannot be read.
    """

    def __init__(self, path: Path) -> None:
        if not path.exists():
            raise UsageError(f"There is no file {path}: check the name and the folder.")
        if not path.is_file():
            raise UsageError(f"{path} is not a file: name a log of bus traffic.")
        self.path = path
        self._zipped = path.suffix.lower() == ".gz"
        self._ending = Path(path.stem if self._zipped else path.name).suffix.lower()
        self.skipped = 0
        """Lines that are no frame and were left out."""
        self.cut = ""
        """Why the reading ended before the file did, in words."""

    def frames(self) -> Iterator["can.Message"]:
        """Yield the frames in their order; what cannot be read is counted or ends the reading.

        Raises InputError where there is nothing before that.
        """
        self.skipped, self.cut = 0, ""
        reader = self._opened()
        try:
            yield from self._read(reader)
        finally:
            reader.stop()
        self._mind_end(reader)

    def _read(self, reader: FrameFile) -> Iterator["can.Message"]:
        count = 0
        while True:
            try:
                for frame in reader:
                    if _is_sound(frame):
                        yield frame
                        count += 1
                    else:
                        self.skipped += 1
                return
            except Exception as error:  # each format's parser raises its own
                # A zipped file that was cut ends in EOFError, whatever is in it.
                ends = isinstance(error, OSError | EOFError) or not self._goes_on
                if count == 0 and (ends or self.skipped >= HEAD_LINES):
                    raise self._unreadable(_why(error)) from None
                if ends:
                    self.cut = _why(error)
                    return
                self.skipped += 1

    def _mind_end(self, reader: FrameFile) -> None:
        """See by the file itself that it was cut where its reader does not."""
        whole = getattr(reader, "file_size", 0)
        lines = getattr(reader, "file", None)
        if not self._zipped and isinstance(whole, int) and whole > self.path.stat().st_size:
            self.cut = self.cut or f"it was {whole} bytes long"
        if isinstance(lines, _Lines) and lines.unfinished:
            self.cut = self.cut or "its last line has no end"

    @property
    def _goes_on(self) -> bool:
        """True where the next line may be whole again."""
        return self._ending not in (".blf", ".mf4", ".db")

    def _opened(self) -> FrameFile:
        from warmwatch.links.python_can import can, load_mf4

        try:
            if self._ending == ".mf4":
                load_mf4()
            kind = can.io.player.MESSAGE_READERS.get(self._ending)
            if kind is None or self._ending == ".log":
                return self._of_text()
            if self._ending == ".db":
                return cast(FrameFile, kind(self.path))
            file: Any = _Lines(self._text()) if self._goes_on else self._bytes()
            return _reader(kind, file)
        except NotImplementedError:
            raise InputError(
                f"{self.path.name} needs the library asammdf: pip install 'warmwatch[mf4]'."
            ) from None
        except (OSError, EOFError, ValueError, can.CanError) as error:
            raise self._unreadable(_why(error)) from None
        except Exception as error:  # the head of a file of another kind, or one that was cut there
            raise self._unreadable(_why(error)) from error

    def _of_text(self) -> FrameFile:
        """Return a reader for a text dump, of one of the two ways to write one."""
        from can.io.canutils import CanutilsLogReader

        from warmwatch.links.log.dump import DumpReader, is_dump
        from warmwatch.links.log.text import TextReader, is_adapter_text

        with self._text() as file:
            head = [line for line, _ in zip(_Lines(file), range(HEAD_LINES), strict=False)]
        if head and is_adapter_text(head[0]):
            return TextReader(_Lines(self._text()))
        if any(is_dump(line) for line in head):
            return DumpReader(_Lines(self._text()))
        if not any("#" in line for line in head):
            known = ", ".join(ENDINGS)
            raise self._unreadable(f"it is no text dump of a bus; known endings are {known}")
        return _reader(CanutilsLogReader, _Lines(self._text()))

    def _text(self) -> TextIO:
        if self._zipped:
            return cast(
                TextIO, gzip.open(self.path, "rt", encoding="utf-8", errors="replace", newline=None)
            )
        return self.path.open(encoding="utf-8-sig", errors="replace")

    def _bytes(self) -> BinaryIO:
        return cast(BinaryIO, (gzip.open if self._zipped else open)(self.path, "rb"))

    def _unreadable(self, why: str) -> InputError:
        return InputError(f"{self.path.name} cannot be read as a log of bus traffic: {why}.")


class _Lines:
    """The lines of a text file, none longer than MAX_LINE, so that memory stays flat."""

    def __init__(self, file: IO[str]) -> None:
        self._file = file
        self.unfinished = False
        """Whether the last line had no end: the file may have been cut there."""

    def __iter__(self) -> "_Lines":
        return self

    def __next__(self) -> str:
        line = self._file.readline(MAX_LINE)
        if not line:
            raise StopIteration
        self.unfinished = not line.endswith("\n")
        return line

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def _is_sound(frame: "can.Message") -> bool:
    """True unless a field of the frame holds what it cannot, as in a spoilt database."""
    at_s, number = cast(object, frame.timestamp), cast(object, frame.arbitration_id)
    return isinstance(at_s, int | float) and isinstance(number, int) and 0 <= number < 1 << 29


def _reader(kind: Callable[[Any], object], file: Any) -> FrameFile:
    """Return a reader of `file`, which is closed where the reader finds that it is none."""
    try:
        return cast(FrameFile, kind(file))
    except BaseException:
        file.close()
        raise


def _why(error: BaseException) -> str:
    return " ".join(str(error).split()).rstrip(".")[:200] or type(error).__name__
