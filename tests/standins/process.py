"""Starts a stand-in as a process of its own and talks to it."""

import json
import subprocess
import sys
from pathlib import Path
from types import TracebackType

HERE = Path(__file__).parent


class StandIn:
    """A running stand-in; leave the `with` block and it is gone, as if unplugged."""

    def __init__(self, program: str, *options: str) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(HERE / program), *options],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        hello = self._line()
        self.address = str(hello["address"])
        self.start_s = float(str(hello["start"]))

    def fault(self, name: str, chance: float = 1.0) -> None:
        """Switch a fault on (or `none`), and wait until it is."""
        self.say(f"fault {name} {chance}")
        assert self._line()["fault"] == name

    def say(self, line: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()

    def unplug(self) -> None:
        """End the process; the port goes with it."""
        self._process.kill()
        self._process.communicate()

    def _line(self) -> dict[str, object]:
        assert self._process.stdout is not None
        content: dict[str, object] = json.loads(self._process.stdout.readline())
        return content

    def __enter__(self) -> "StandIn":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.unplug()
