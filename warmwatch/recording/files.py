"""Small acts on files, with what others may do to them meanwhile in mind."""

import contextlib
import errno
import os
from pathlib import Path

GONE = (-1, -1)
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)
_NOT_SYNCED = (errno.EINVAL, errno.ENOSYS, errno.ENOTSUP)


def open_new(path: Path) -> int:
    """Return a handle of a file that was not there, and of which only the end can be written."""
    return os.open(path, _NEW, 0o666)


def sync(handle: int) -> None:
    """Let the disk have all that was written, where the file system knows how."""
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in _NOT_SYNCED:
            raise


def seen(path: Path) -> tuple[int, int] | None:
    """Return size and time of a file, GONE when it is not there, None when it cannot be said."""
    try:
        found = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return GONE
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns


def same(path: Path, data: bytes) -> bool:
    """Return whether a file holds just that."""
    try:
        with path.open("rb") as file:
            return file.read(len(data) + 1) == data
    except OSError:
        return False


def write_new(path: Path, data: bytes, made: list[Path]) -> None:
    """Write a new file through to the disk; it is added to `made` once it is there."""
    handle = open_new(path)
    made.append(path)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        sync(handle)


def write_over(path: Path, data: bytes) -> None:
    """Write a file in place of another, so that one of both is there whole at every moment."""
    part = path.with_name(f".{path.name}.part")
    part.unlink(missing_ok=True)
    write_new(part, data, [])
    part.replace(path)


def take_back(made: list[Path]) -> None:
    """Leave no half recording behind."""
    for left in made:
        with contextlib.suppress(OSError):
            left.unlink()
