"""Keeps what goes over the wire in a file: raw frames, or the text of an adapter.

The link's thread only puts into a bounded queue; a thread of its own writes. What does not fit, in
the queue or in the file, is lost and told, and never holds up the watch.
"""

import contextlib
import copy
import hashlib
import json
import queue
import threading
import time
from collections.abc import Callable, Iterator
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, cast

if TYPE_CHECKING:
    import can

MOST_BYTES = 500_000_000
"""The largest file: over an hour of a bus of 2000 frames a second, weeks of single answers."""
MOST_WAITING = 20_000
"""Frames or pieces of text that wait for the disk: ten seconds of such a bus."""
FLUSH_S = 1.0
END_S = 0.7
"""So long the end waits for what is not yet written."""
TEXT_HEAD = "warmwatch adapter text 1"
"""The first line of a kept adapter's text."""
SENT, CAME = ">", "<"

_current: ContextVar["Keeper | None"] = ContextVar("keeper", default=None)


@dataclass(frozen=True, slots=True)
class Kept:
    """What was kept, when all is over. `lost` counts what was not written."""

    name: str
    pieces: int
    lost: int
    digest: str

    @property
    def words(self) -> str:
        """It for the recording, with the SHA-256 of the file."""
        lost = f", {self.lost} lost" if self.lost else ""
        return f"bus kept in {self.name}: {self.pieces} pieces{lost}, sha256={self.digest}"


class Keeper:
    """One file of raw traffic. Give it to `kept_by` while the link is made; then `begin`, `end`."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most_bytes = most_bytes
        self._queue: queue.Queue[tuple[float, object]] = queue.Queue(MOST_WAITING)
        self._now_s: Callable[[], float] = time.time
        self._thread: threading.Thread | None = None
        self._over = threading.Event()
        self._path = Path()
        self._pieces = self._lost = self._told_lost = 0
        self._digest = ""
        self._trouble = self._told = ""

    def begin(self, stem: Path, now_s: Callable[[], float]) -> None:
        """Write to `stem` with an ending of its own from now on; `now_s` is seconds since 1970."""
        self._path, self._now_s = stem, now_s
        self._thread = threading.Thread(target=self._run, name="bus log", daemon=True)
        self._thread.start()

    def frame(self, frame: "can.Message", *, sent: bool = False) -> None:
        """Keep a frame that came or was sent; returns at once."""
        self._put((frame, sent))

    def text(self, data: bytes, *, sent: bool = False) -> None:
        """Keep text that came from an adapter or was sent to it; returns at once."""
        if data:
            self._put((SENT if sent else CAME, data))

    def news(self) -> Iterator[str]:
        """Yield what went wrong since the last call."""
        if self._trouble != self._told:
            self._told = self._trouble
            yield self._trouble
        if self._lost and not self._told_lost:
            self._told_lost = self._lost
            yield (
                "The disk is too slow for --keep-bus: some of the bus is missing in its log. The "
                "watch and the recording are whole."
            )

    def end(self) -> Kept | None:
        """Stop, wait for at most END_S, and return what was kept; None when there is nothing."""
        if self._thread is None:
            return None
        self._over.set()
        self._thread.join(END_S)
        if self._thread.is_alive() or not self._digest:
            return None
        return Kept(self._path.name, self._pieces, self._lost, self._digest)

    def _put(self, piece: object) -> None:
        try:
            self._queue.put_nowait((self._now_s(), piece))
        except queue.Full:
            self._lost += 1

    def _run(self) -> None:
        try:
            self._write()
        except OSError as error:
            why = error.strerror or str(error)
            self._trouble = f"The bus is no longer kept ({why}). The watch and the recording go on."

    def _write(self) -> None:
        file: _Bounded | None = None
        try:
            while not (self._over.is_set() and self._queue.empty()):
                try:
                    at_s, piece = self._queue.get(timeout=FLUSH_S if file is None else 0.2)
                except queue.Empty:
                    if file is not None:
                        file.flush()
                    continue
                file = file or self._opened(piece)
                if file.full:
                    self._lost += 1
                    self._trouble = self._trouble or _full(self._path, self._most_bytes)
                    continue
                file.keep(at_s, piece)
                self._pieces += 1
        finally:
            if file is not None:
                file.close()
                self._digest = file.digest

    def _opened(self, piece: object) -> "_Bounded":
        text = isinstance(cast(tuple[object, object], piece)[0], str)
        self._path = self._path.with_name(self._path.name + (".txt" if text else ".log"))
        return (_TextFile if text else _FrameFile)(self._path, self._most_bytes)


class _Bounded:
    """A file that is written line by line and knows its digest."""

    def __init__(self, path: Path, most_bytes: int) -> None:
        self._file: BinaryIO = path.open("xb")
        self._hash = hashlib.sha256()
        self._left = most_bytes
        self._flushed_s = time.monotonic()

    @property
    def full(self) -> bool:
        """Whether no more may be written."""
        return self._left <= 0

    @property
    def digest(self) -> str:
        """The SHA-256 of what was written, in hex digits."""
        return self._hash.hexdigest()

    def keep(self, at_s: float, piece: Any) -> None:
        """Write one piece that came `at_s` seconds after 1970."""
        raise NotImplementedError

    def write(self, text: str) -> int:
        """Write text, as python-can's writer does."""
        data = text.encode("utf-8")
        self._file.write(data)
        self._hash.update(data)
        self._left -= len(data)
        if time.monotonic() - self._flushed_s > FLUSH_S:
            self.flush()
        return len(text)

    def flush(self) -> None:
        """Let the system have what was written."""
        self._file.flush()
        self._flushed_s = time.monotonic()

    def close(self) -> None:
        """Close the file."""
        self._file.close()


class _FrameFile(_Bounded):
    """Frames as a text dump, by python-can's own writer."""

    def __init__(self, path: Path, most_bytes: int) -> None:
        from can.io.canutils import CanutilsLogWriter

        super().__init__(path, most_bytes)
        self._writer = CanutilsLogWriter(cast(Any, self), channel="kept")

    def keep(self, at_s: float, piece: Any) -> None:
        frame, sent = piece
        frame = copy.copy(frame)
        frame.timestamp, frame.is_rx, frame.channel = at_s, not sent, None
        self._writer.on_message_received(frame)


class _TextFile(_Bounded):
    """The adapter's text, a line a piece: time, direction, and the text as a JSON string."""

    def __init__(self, path: Path, most_bytes: int) -> None:
        super().__init__(path, most_bytes)
        self.write(f"{TEXT_HEAD}\n")

    def keep(self, at_s: float, piece: Any) -> None:
        way, data = piece
        self.write(f"({at_s:.6f}) {way} {json.dumps(data.decode('latin-1'))}\n")


def _full(path: Path, most_bytes: int) -> str:
    return (
        f"{path.name} has reached its {most_bytes // 1_000_000} MB: the bus is no longer kept. The "
        "watch and the recording go on."
    )


@contextlib.contextmanager
def kept_by(keeper: Keeper | None) -> Iterator[None]:
    """Let what opens a bus or a port inside this block give its traffic to `keeper`."""
    token = _current.set(keeper)
    try:
        yield
    finally:
        _current.reset(token)


def current_keeper() -> Keeper | None:
    """Return who keeps the traffic of what is made now; for those that open buses and ports."""
    return _current.get()


def keep_bus(bus: "can.BusABC", keeper: Keeper | None) -> "can.BusABC":
    """Return the bus; from now on `keeper` gets what comes from it and goes to it."""
    if keeper is None:
        return bus
    receive, transmit, keep = bus.recv, bus.send, keeper.frame

    def recv(timeout: float | None = None) -> "can.Message | None":
        frame = receive(timeout)
        if frame is not None:
            keep(frame)
        return frame

    def send(frame: "can.Message", timeout: float | None = None) -> None:
        transmit(frame, timeout)
        keep(frame, sent=True)

    vars(bus).update(recv=recv, send=send)
    return bus
