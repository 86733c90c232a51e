"""Runs the parts named, or all of them, and prints the rows of the tables in docs/verify.md.

    python -m tests.trust                      # all; takes about 30 minutes on two cores
    python -m tests.trust tampering --count 100

Each part has a fixed seed and prints what it did, how often, and what came of it.
"""

import argparse
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from tests.trust import hanging, killing, pages, power, tampering

PARTS: dict[str, tuple[int, Callable[[int, Path], list[str]]]] = {
    "tampering": (1000, tampering.rows),
    "pages": (300, pages.rows),
    "kills": (200, killing.kill_rows),
    "endings": (200, killing.ending_rows),
    "power": (100, power.rows),
    "hanging": (10, hanging.rows),
}


def main(arguments: list[str]) -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.trust")
    parser.add_argument("parts", nargs="*", metavar="PART", help=", ".join(PARTS))
    parser.add_argument("--count", type=int, help="how often, in place of the usual")
    given = parser.parse_args(arguments)
    print(f"commit {commit()}, Python {platform.python_version()}, {platform.system()}")
    for name in given.parts or PARTS:
        usual, rows = PARTS[name]
        with tempfile.TemporaryDirectory() as folder:
            start_s = time.monotonic()
            for row in rows(given.count or usual, Path(folder)):
                print(row, flush=True)
            print(f"({name}: {time.monotonic() - start_s:.0f} s)", flush=True)


def commit() -> str:
    """Return the commit that is measured, marked where files differ from it."""
    command = ["git", "describe", "--always", "--dirty"]
    ran = subprocess.run(
        command, capture_output=True, text=True, check=False, cwd=Path(__file__).parent
    )
    return ran.stdout.strip() or "not known"


if __name__ == "__main__":
    main(sys.argv[1:])
