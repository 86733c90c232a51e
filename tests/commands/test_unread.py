"""What reads the output goes away: no message, and no exit code that says something else."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

RECORDINGS = Path(__file__).parents[2] / "recordings"


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX pipes")
def test_an_intact_recording_is_not_called_changed_because_nobody_reads() -> None:
    """128 + SIGPIPE, as a shell gives it (POSIX); 1 would say that it was changed."""
    reader, writer = os.pipe()
    os.close(reader)
    recording = next(RECORDINGS.glob("*_idle.csv"))
    command = [sys.executable, "-m", "warmwatch", "verify", str(recording)]
    ended = subprocess.run(
        command, stdout=writer, stderr=subprocess.PIPE, text=True, check=False, timeout=60
    )
    os.close(writer)
    assert (ended.returncode, ended.stderr) == (141, "")
