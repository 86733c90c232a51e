"""Two programs change one book, and one of them is killed again and again: what is left?

    python -m tests.book.two_writers FILE KILLS

Prints one JSON object: `promised` are the labels whose change had been reported as done.
"""

import json
import os
import random
import select
import signal
import sys
import time
from pathlib import Path

from warmwatch.book.book import read_book
from warmwatch.book.change import set_texts


def write_on(path: Path, name: str, done: int) -> None:
    """Add labels until killed, reporting each one that is in the book."""
    number = 0
    while True:
        label = f"{name}-{number}"
        set_texts(label, {"notes": "é" * 40}, path)
        os.write(done, f"{label}\n".encode())
        number += 1
        time.sleep(0.01)


def start(path: Path, name: str) -> tuple[int, int]:
    """Return the process and the pipe by which it reports."""
    out, done = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(out)
        write_on(path, name, done)
    os.close(done)
    return child, out


def end(child: int, out: int) -> list[str]:
    """Kill a writer and return what it had reported."""
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(out, "rb") as pipe:
        return [line.decode() for line in pipe.read().split(b"\n") if line]


def main() -> None:
    """Kill one of two writers as often as told."""
    path, kills = Path(sys.argv[1]), int(sys.argv[2])
    chance = random.Random(11)
    set_texts("first", {"notes": "here"}, path)
    steady = start(path, "steady")
    promised = ["first"]
    for number in range(kills):
        victim = start(path, f"victim{number}")
        select.select([victim[1]], [], [], 20.0)  # it has written once; now in the middle of it
        time.sleep(chance.uniform(0.0, 0.02))
        promised += end(*victim)
        read_book(path)
    promised += end(*steady)
    book = read_book(path)
    print(json.dumps({"promised": promised, "kept": list(book.vehicles), "kills": kills}))


if __name__ == "__main__":
    main()
