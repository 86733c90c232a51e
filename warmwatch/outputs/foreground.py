"""Whether this program is the one that its terminal belongs to just now (POSIX job control)."""

import os
import sys
from typing import TextIO


def in_foreground(stream: TextIO) -> bool:
    """Return whether `stream` is a terminal whose foreground this program is.

    In the background reading the terminal would stop the program, and drawing on it would spoil
    what another program shows.
    """
    if not stream.isatty():
        return False
    if sys.platform == "win32":
        return True
    try:
        return os.tcgetpgrp(stream.fileno()) == os.getpgrp()
    except (OSError, ValueError):
        return True  # not the controlling terminal: nobody stops us for using it
