"""Fake sound programs for the tests: real child processes, found on PATH, that log what they do."""

import os
import stat
import sys
import time
from collections.abc import Callable
from pathlib import Path

_PROGRAM = """#!{python} -SE
import os, sys, time
log, seconds, code = {log!r}, {seconds!r}, {code!r}

def note(word):
    with open(log, "a", encoding="utf-8") as file:
        file.write(f"{{word}} {name} {{os.getpid()}} {{' '.join(arguments)}}\\n")

arguments = [a.rsplit("/", 1)[-1] for a in sys.argv[1:]]
if arguments[-1].endswith(".wav"):
    import wave
    with wave.open(sys.argv[-1], "rb") as sound:
        assert sound.getnframes() > 1000
note("start")
time.sleep(seconds)
note("end")
sys.exit(code)
"""


class FakePrograms:
    """A folder that is the whole PATH, and the log that its programs write."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "bin"
        self.folder.mkdir()
        self.log = folder / "log.txt"

    def add(self, name: str, seconds: float = 0.0, code: int = 0) -> None:
        """Put a program there that takes `seconds` and exits with `code`."""
        text = _PROGRAM.format(
            python=sys.executable, log=str(self.log), seconds=seconds, code=code, name=name
        )
        self.add_text(name, text)

    def add_text(self, name: str, text: str) -> None:
        """Put a program with this text there."""
        path = self.folder / name
        path.write_text(text, encoding="utf-8")
        path.chmod(path.stat().st_mode | stat.S_IXUSR)

    def lines(self, beginning: str = "") -> list[str]:
        """Return the log without process numbers, such as `start pw-play blind.wav`."""
        lines = [" ".join([word, name, *rest]) for word, name, _, *rest in self._entries()]
        return [line for line in lines if line.startswith(beginning)]

    def pids(self) -> list[int]:
        """Return the process numbers in the order of the log."""
        return [int(entry[2]) for entry in self._entries()]

    def _entries(self) -> list[list[str]]:
        if not self.log.exists():
            return []
        return [line.split() for line in self.log.read_text(encoding="utf-8").splitlines()]


def until(holds: Callable[[], bool], limit_s: float = 10.0) -> None:
    """Wait until `holds`; fails after `limit_s`."""
    end_s = time.monotonic() + limit_s
    while not holds():
        assert time.monotonic() < end_s, "it never came true"
        time.sleep(0.005)


def alive(pid: int) -> bool:
    """Return whether a process runs under this number; one that only waits to be reaped is gone."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    try:
        return state.read_text(encoding="utf-8").rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return not Path("/proc/self").exists()
