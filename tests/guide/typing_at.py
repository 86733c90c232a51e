"""A program on a pseudo-terminal of its own, and somebody who types at it."""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import TracebackType

ROOT = Path(__file__).parents[2]
PROMPT = re.compile(r"\n(?:\[[^\n]*\] )?> $")
LONGEST_S = 90.0


class Terminal:
    """A running `python -m MODULE ARGUMENTS`; leave the `with` block and it is gone."""

    def __init__(
        self, module: str, *arguments: str, cwd: Path, env: Mapping[str, str], columns: int = 100
    ) -> None:
        near, far = pty.openpty()
        fcntl.ioctl(far, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
        self._near = near
        self.text = self.whole = ""
        self.answers: list[str] = []
        self.process = subprocess.Popen(
            [sys.executable, "-m", module, *arguments],
            stdin=far, stdout=far, stderr=far, cwd=cwd, start_new_session=True,
            env={**os.environ, "PYTHONPATH": str(ROOT), "NO_COLOR": "1", **env},
        )  # fmt: skip
        os.close(far)

    def until(self, pattern: str) -> str:
        """Wait until the pattern is in what was written since the last answer, and return that."""
        deadline = time.monotonic() + LONGEST_S
        while not re.search(pattern, self.text):
            assert time.monotonic() < deadline, f"never came: {pattern}\n{self.text}"
            assert self._read(), f"ended before: {pattern}\n{self.text}"
        return self.text

    def question(self) -> str:
        """Wait for the next prompt and return all that was written before it."""
        return self.until(PROMPT.pattern)

    def answer(self, text: str) -> None:
        """Type an answer and Enter."""
        self.answers.append(text)
        self.text = ""
        os.write(self._near, text.encode() + b"\r")

    def press(self, key: str) -> None:
        """Press one key."""
        os.write(self._near, key.encode())

    def interrupt(self) -> None:
        """Press Ctrl-C, and again as a person would while nothing happens.

        Python notices a signal only at the next key when it comes between the prompt and the read.
        """
        before = len(self.whole)
        deadline = time.monotonic() + LONGEST_S
        while len(self.whole) == before and self.process.poll() is None:
            assert time.monotonic() < deadline, f"Ctrl-C did nothing\n{self.text}"
            self.process.send_signal(signal.SIGINT)
            asked_again = time.monotonic() + 3.0
            while len(self.whole) == before and time.monotonic() < asked_again and self._read():
                pass

    def ended(self) -> int:
        """Wait for the end and return the exit code."""
        deadline = time.monotonic() + LONGEST_S
        while self._read() and time.monotonic() < deadline:
            pass
        return self.process.wait(timeout=10.0)

    def _read(self) -> bool:
        ready, _, _ = select.select([self._near], [], [], 0.5)
        if not ready:
            return self.process.poll() is None
        try:
            data = os.read(self._near, 65536)
        except OSError:
            return False
        came = data.decode("utf-8", "replace").replace("\r\n", "\n")
        self.text += came
        self.whole += came
        return bool(data)

    def __enter__(self) -> "Terminal":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self._near)


def answer_all(terminal: Terminal, answers: Sequence[tuple[str, str]]) -> None:
    """Answer each question by the words that stand in it; each pair is used once."""
    left = list(answers)
    while left:
        asked = " ".join(terminal.question().split())
        pair = next((pair for pair in left if pair[0] in asked), None)
        assert pair is not None, f"not expected: {asked}"
        left.remove(pair)
        terminal.answer(pair[1])
