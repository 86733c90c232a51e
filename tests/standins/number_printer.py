"""A thermometer that prints a number a line on a pseudo-terminal, as a program of its own.

It prints one JSON line (`address`, `start`), then obeys `print TEXT` (sent as it is, with \\n, \\r
and \\xNN as escapes) and `quit` on standard input.
"""

import json
import os
import pty
import sys
import time
import tty


def main() -> None:
    """Serve until told to quit."""
    near, far = pty.openpty()
    tty.setraw(far)
    print(json.dumps({"address": os.ttyname(far), "start": time.monotonic()}), flush=True)
    for line in sys.stdin:
        word, _, text = line.rstrip("\n").partition(" ")
        if word == "quit":
            return
        os.write(near, text.encode("latin-1").decode("unicode_escape").encode("latin-1"))


if __name__ == "__main__":
    main()
