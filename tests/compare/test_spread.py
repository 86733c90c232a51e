"""Workers end with their parent."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

PARENT = """
import os, time
from warmwatch.analysis.many.spread import WORTH_PROCESSES, Here

def pid(number):
    time.sleep(0.05)
    return os.getpid()

if __name__ == "__main__":
    for found in Here(2).worked(pid, range(100 * WORTH_PROCESSES)):
        print(found, flush=True)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="looks at processes in /proc")
def test_workers_end_with_a_killed_parent(tmp_path: Path) -> None:
    """Nothing is left of a comparison that was ended by kill -9."""
    script = tmp_path / "parent.py"
    script.write_text(PARENT, encoding="utf-8")
    with subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout is not None
        worker = int(run.stdout.readline())
        run.send_signal(signal.SIGKILL)
    until_s = time.monotonic() + 60.0
    while alive(worker):
        assert time.monotonic() < until_s
        time.sleep(0.05)


def alive(process: int) -> bool:
    try:
        os.kill(process, 0)
        state = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2]
    except OSError:
        return False
    return state.split()[0] != "Z"
