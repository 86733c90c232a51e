"""A real file system that hangs on demand: a folder passed through FUSE.

    python -m tests.recording.hanging_fs BEHIND MOUNT CONTROL

While the file CONTROL is there, whatever asks for one of the operations named in it (`write`,
`fsync`, `create` ...; `all` for every one) waits, as with a share whose server is gone. Linux
only, with /dev/fuse and fusermount3.
"""

import os
import sys
import time
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import mfusepy

HOLD_S = 0.02
LONGEST_S = 60.0


def waits(act: Callable[..., Any]) -> Callable[..., Any]:
    """Let an operation wait while it is held."""

    @wraps(act)
    def waiting(self: "Hanging", *arguments: Any) -> Any:
        self.wait(act.__name__)
        return act(self, *arguments)

    return waiting


class Hanging(mfusepy.Operations):  # type: ignore[misc]
    """Passes everything on to a folder, when it may."""

    use_ns = True

    def __init__(self, behind: Path, control: Path) -> None:
        self._behind = behind
        self._control = control

    def wait(self, operation: str) -> None:
        until_s = time.monotonic() + LONGEST_S
        while time.monotonic() < until_s:
            try:
                held = self._control.read_text(encoding="ascii").split()
            except FileNotFoundError:
                return
            if operation not in held and "all" not in held:
                return
            time.sleep(HOLD_S)

    def _path(self, path: str) -> str:
        return str(self._behind / path.lstrip("/"))

    @waits
    def getattr(self, path: str, fh: int | None = None) -> dict[str, object]:
        found = os.lstat(self._path(path))
        names = ("st_mode", "st_nlink", "st_size", "st_uid", "st_gid", "st_mtime", "st_ino")
        return {**{name: getattr(found, name) for name in names}, "st_mtime": found.st_mtime_ns}

    @waits
    def readdir(self, path: str, fh: int) -> list[str]:
        return [".", "..", *os.listdir(self._path(path))]

    @waits
    def mkdir(self, path: str, mode: int) -> None:
        os.mkdir(self._path(path), mode)

    @waits
    def create(self, path: str, mode: int, fi: object = None) -> int:
        return os.open(self._path(path), os.O_RDWR | os.O_CREAT | os.O_EXCL, mode)

    @waits
    def open(self, path: str, flags: int) -> int:
        return os.open(self._path(path), flags & ~(os.O_APPEND | os.O_EXCL))

    @waits
    def read(self, path: str, size: int, offset: int, fh: int) -> bytes:
        return os.pread(fh, size, offset)

    @waits
    def write(self, path: str, data: bytes, offset: int, fh: int) -> int:
        return os.pwrite(fh, data, offset)

    @waits
    def truncate(self, path: str, length: int, fh: int | None = None) -> None:
        os.truncate(self._path(path), length)

    @waits
    def flush(self, path: str, fh: int) -> None:
        pass

    @waits
    def fsync(self, path: str, datasync: bool, fh: int) -> None:
        os.fsync(fh)

    @waits
    def release(self, path: str, fh: int) -> None:
        os.close(fh)

    @waits
    def unlink(self, path: str) -> None:
        os.unlink(self._path(path))

    @waits
    def rmdir(self, path: str) -> None:
        os.rmdir(self._path(path))

    @waits
    def rename(self, old: str, new: str) -> None:
        os.rename(self._path(old), self._path(new))


if __name__ == "__main__":
    behind, mount, control = map(Path, sys.argv[1:4])
    mfusepy.FUSE(Hanging(behind, control), str(mount), foreground=True, nothreads=False)
