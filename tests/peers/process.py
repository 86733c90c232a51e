"""Runs a peer as a process of its own."""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def peer(module: str, *options: str) -> Iterator[str]:
    """Run `tests.peers.MODULE PORT OPTIONS` and give the port's name; it is gone afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        port = Path(folder) / "port"
        command = [sys.executable, "-m", f"tests.peers.{module}", str(port), *options]
        process = subprocess.Popen(command, stdout=subprocess.PIPE)
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == b"ready\n"
            yield str(port)
        finally:
            process.kill()
            process.communicate()
