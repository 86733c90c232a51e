"""How a child process is ended, with all that it started."""

import os
import signal
import subprocess


def end_group(child: "subprocess.Popen[bytes]") -> None:
    """Kill a child that leads a group of its own, and wait; nothing to do for one that ended."""
    if child.poll() is None:
        if os.name == "posix":
            os.killpg(child.pid, signal.SIGKILL)  # not reaped yet, so the number is still its own
        else:
            child.kill()
    child.wait()
