"""The disk's side of a recording: everything that may have to wait for a disk.

A DiskFile runs where its waiting holds up nobody: on a thread or in a process of its own (see
`carrier`). It takes messages in their order and reports back:

    ("open", {...})   make the two files; reported as ("opened", path)
    ("row", text)     write a row, given without its digest
    ("sync",)         let the disk have everything at once, rather than within SYNC_S
    ("checkpoint", text)  write the signed checkpoint beside the recording
    ("close", text)   write the last row and close; reported as ("closed",)
    ("end",)          no more comes: close as it is; without any row the files are taken back

It reports ("failed", why) once, after which it takes nothing more; ("told", text) for what the
mechanic must hear; ("displaced", text) when the file is no longer where it was; ("moved", path)
when all goes on in another file; ("head", rows, digest) once in CHECKPOINT_S, to be signed;
("done", n) after n messages.
"""

import contextlib
import errno
import os
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from warmwatch.recording.files import (
    GONE,
    open_new,
    same,
    seen,
    sync,
    take_back,
    write_new,
    write_over,
)
from warmwatch.recording.names import (
    checkpoint_path,
    names_for,
    sidecar_path,
    sidecar_text,
    text_digest,
)
from warmwatch.recording.remembered import Remembered
from warmwatch.recording.rows import Chain
from warmwatch.recording.schema import Schema

Message = tuple[Any, ...]
Report = Callable[[Message], None]
SYNC_S = 0.8
"""So that what a power cut can take is younger than a second, though syncing takes time."""
CHECKPOINT_S = 60.0
LINE_END = "\r\n"
MOST_ANEW = 5
"""So often a recording is written again; whoever spoils it more often does so on purpose."""
_BLOCK = 1 << 16


class DiskFile:
    """One recording's two files."""

    def __init__(self, report: Report) -> None:
        self._report = report
        self._opening: Mapping[str, Any] = {}
        self._path = Path()
        self._sidecar = b""
        self._sidecar_seen: tuple[int, int] | None = None
        self._handle = -1
        self._size = 0
        self._chain = Chain()
        self._rows = Remembered()
        self._since_s: float | None = None
        self._signed_s = time.monotonic()
        self._anew = 0
        self._displaced = self._failed = False
        self._identity = (0, 0)
        self._steady = self._counted = self._sized = True

    @property
    def due_in_s(self) -> float | None:
        """In how many seconds the disk must have what was written; None when it has it all."""
        if self._since_s is None:
            return None
        return max(0.0, self._since_s + SYNC_S - time.monotonic())

    def take(self, message: Message) -> bool:
        """Do what a message says; return whether more can come."""
        kind = message[0]
        try:
            if not self._failed:
                self._act(*message)
        except Exception as error:  # whatever it is, nothing is written any more, and that is told
            self._fail(error)
        return kind not in ("close", "end")

    def _act(self, kind: str, *given: Any) -> None:
        if kind == "open":
            self._opening = given[0]
            self._open(Path(self._opening["folder"]))
            self._report(("opened", str(self._path)))
        elif kind == "row":
            self._row(given[0])
        elif kind == "sync":
            self._sync()
        elif kind == "checkpoint":
            self._checkpoint(given[0])
        elif kind == "close":
            self._row(given[0])
            self._sync()
            self._shut()
            self._report(("closed",))
        elif self._handle >= 0:
            self._end()

    def _fail(self, error: Exception) -> None:
        self._failed, self._since_s = True, None
        self._shut()
        why = getattr(error, "strerror", None) or str(error)
        if self._path == Path():
            self._report(("failed", why, False))
            return
        text = f"No longer recorded: {self._path} cannot be written ({why})"
        there = self._path.exists()
        self._report(("failed", f"{text}; what was written stays." if there else f"{text}.", there))

    # The two files

    def _open(self, folder: Path, more: Mapping[str, Any] | None = None) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        schema = Schema(tuple(self._opening["columns"]))
        document = {**self._opening["sidecar"], **(more or {})}
        for path in names_for(folder, self._opening["stem"]):
            text = sidecar_text({**document, "url": path.name})
            self._sidecar, self._chain = text.encode("utf-8"), Chain(schema)
            cells = {**self._opening["cells"], "text": f"sidecar={text_digest(text)}"}
            begin = schema.header + LINE_END + self._chain.seal(cells) + LINE_END
            if self._create(path, begin.encode("utf-8")):
                return

    def _create(self, path: Path, begin: bytes) -> bool:
        """Make both files; False when the name is taken. When it fails, neither stays."""
        made: list[Path] = []
        try:
            write_new(sidecar_path(path), self._sidecar, made)
            handle = open_new(path)
            made.append(path)
            self._path, self._handle, self._size = path, handle, 0
            self._put(begin)
            sync(handle)
        except OSError as error:
            if not isinstance(error, FileExistsError):
                self._shut()
            self._path = Path() if self._path in made else self._path
            take_back(made)
            if not isinstance(error, FileExistsError):
                raise
            return False
        self._look()
        return True

    def _look(self) -> None:
        found = os.fstat(self._handle)
        # Some file systems count no links; some shares number a file again each time it is asked,
        # or tell its size late. There what hangs on these cannot be noticed.
        self._counted, self._sized = found.st_nlink > 0, found.st_size == self._size
        self._identity = found.st_dev, found.st_ino
        self._steady = not self._moved()
        self._displaced = False
        self._sidecar_seen = seen(sidecar_path(self._path))

    def _end(self) -> None:
        if self._rows.count:
            self._sync()
            self._shut()
        else:
            self._shut()
            take_back([self._path, sidecar_path(self._path)])

    def _shut(self) -> None:
        handle, self._handle = self._handle, -1
        if handle >= 0:
            with contextlib.suppress(OSError):
                os.close(handle)

    # Rows

    def _row(self, body: str) -> None:
        self._rows.add(body)
        self._put((self._chain.close(body) + LINE_END).encode("utf-8"))
        if self._since_s is None:
            self._since_s = time.monotonic()
        elif time.monotonic() - self._since_s >= SYNC_S:
            self._sync()

    def _put(self, data: bytes) -> None:
        """Append all of it, or nothing: a half line would only look like damage."""
        left = data
        try:
            while left:
                written = os.write(self._handle, left)
                if not written:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                left = left[written:]  # a nearly full disk takes a part, and then says that it is
        except OSError:
            with contextlib.suppress(OSError):
                if os.fstat(self._handle).st_size > self._size:
                    os.ftruncate(self._handle, self._size)
            raise
        self._size += len(data)

    def _sync(self) -> None:
        sync(self._handle)
        self._since_s = None
        if why := self._damage():
            self._write_anew(why)
        elif self._steady and not self._displaced and self._moved():
            self._displaced = True
            text = f"No longer recorded as {self._path}: it was moved or renamed."
            self._report(
                ("displaced", f"{text} It goes on in the same file, wherever that is now.")
            )
        elif not self._displaced:
            self._keep_sidecar()
        if time.monotonic() - self._signed_s >= CHECKPOINT_S:
            self._signed_s = time.monotonic()
            self._report(("head", self._rows.count + 1, self._chain.digest))

    def _checkpoint(self, text: str) -> None:
        """Write it in place of the one before; without it the recording goes on all the same."""
        if not self._displaced:
            with contextlib.suppress(OSError):
                write_over(checkpoint_path(self._path), text.encode("utf-8"))

    # What others do to the files

    def _damage(self) -> str:
        found = os.fstat(self._handle)
        if self._counted and found.st_nlink == 0:
            return "was removed"
        if self._sized and found.st_size != self._size:
            return "was cut short" if found.st_size < self._size else "was written to by others"
        return ""

    def _moved(self) -> bool:
        try:
            found = self._path.stat()
        except (FileNotFoundError, NotADirectoryError):
            return True
        except OSError:  # a share that is away for a moment: the write itself will tell
            return False
        return (found.st_dev, found.st_ino) != self._identity

    def _write_anew(self, why: str) -> None:
        """Write the whole recording to another file; the spoilt one stays as it is."""
        spoilt, self._anew = self._path, self._anew + 1
        if not self._rows.whole or self._anew > MOST_ANEW:
            raise OSError(f"it {why}, and it is not written again any more")
        earlier = {
            "recording": spoilt.name,
            "rows": self._rows.count + 1,
            "digest": self._chain.digest,
            "why": why,
        }
        self._shut()
        self._open(spoilt.parent, {"warmwatch:continues": earlier})
        block: list[str] = []
        for body in self._rows:
            block.append(self._chain.close(body) + LINE_END)
            if len(block) * 100 > _BLOCK:
                self._put("".join(block).encode("utf-8"))
                block.clear()
        self._put("".join(block).encode("utf-8"))
        sync(self._handle)
        self._report(("moved", str(self._path)))
        text = f"The recording {spoilt.name} {why} while it was written."
        whole = f"All of it, from the beginning, is now in {self._path} and goes on there."
        self._report(("told", f"{text} {whole}"))

    def _keep_sidecar(self) -> None:
        beside = sidecar_path(self._path)
        now = seen(beside)
        if now is None or now == self._sidecar_seen:
            return
        if now != GONE and same(beside, self._sidecar):
            self._sidecar_seen = now
            return
        write_over(beside, self._sidecar)
        self._sidecar_seen = seen(beside)
        what = "removed" if now == GONE else "changed"
        self._report(("told", f"The sidecar {beside.name} was {what}: it was written again."))
