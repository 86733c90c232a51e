"""A share that hangs on demand, and a watch that records on it."""

import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

LONG_S = 60.0


@dataclass
class Share:
    """A mounted folder; `hang` makes operations wait until `answer`."""

    folder: Path
    behind: Path
    control: Path

    def hang(self, *operations: str) -> None:
        part = self.control.with_name("part")
        part.write_text(" ".join(operations), encoding="ascii")
        part.replace(self.control)

    def answer(self) -> None:
        self.control.unlink(missing_ok=True)

    def recording(self) -> Path:
        return next(self.behind.glob("*.csv"))

    @classmethod
    @contextmanager
    def mounted(cls, parent: Path) -> Iterator[Self]:
        """Mount one in a folder for as long as it is needed."""
        found = cls(parent / "share", parent / "behind", parent / "hangs")
        for folder in (found.folder, found.behind):
            folder.mkdir(parents=True)
        command = ["-m", "tests.recording.hanging_fs", found.behind, found.folder, found.control]
        with subprocess.Popen([sys.executable, *map(str, command)]) as served:
            until(found.folder.is_mount)
            yield found
            found.answer()
            subprocess.run(["fusermount3", "-u", "-z", str(found.folder)], check=True)
            served.wait(LONG_S)


def until(good: Callable[[], object]) -> None:
    start_s = time.monotonic()
    while not good():
        assert time.monotonic() - start_s < LONG_S
        time.sleep(0.05)


class Watched:
    """A `warmwatch watch lines:-` that records on the share, fed one temperature at a time."""

    def __init__(self, share: Share) -> None:
        words = ["watch", "lines:-", "--band", "80:90", "--json", "--quiet", "--record"]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "warmwatch", *words, str(share.folder)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    def feed(self, fluid_c: float) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{fluid_c}\n")
        self.process.stdin.flush()

    def next(self, kind: str, event: str = "") -> dict[str, Any]:
        """Return the next line of a kind, reading on until it comes."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            found: dict[str, Any] = json.loads(line)
            if found["kind"] == kind and event in ("", found.get("event")):
                return found
        raise AssertionError(f"it ended without {kind} {event}")
