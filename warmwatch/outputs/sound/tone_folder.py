"""The folder that the tones' files lie in, under the system's temporary folder.

Its name says whose it is, so that the next start removes what a killed one left.
"""

import os
import re
import shutil
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path

_NAME = re.compile(r"warmwatch-tones-(\d+)-\w+")
_OLD_S = 2 * 86400.0
"""Without a way to ask whether a process lives, what is older than any watch is left over."""


def make_tone_folder() -> Path:
    """Return a new folder, and remove those that dead runs of ours left; OSError when it fails."""
    remove_left_over()
    return Path(tempfile.mkdtemp(prefix=f"warmwatch-tones-{os.getpid()}-"))


def remove_left_over() -> None:
    """Remove the folders of runs that have ended, if they are ours."""
    with suppress(OSError):
        for entry in Path(tempfile.gettempdir()).iterdir():
            named = _NAME.fullmatch(entry.name)
            if named and _is_ours(entry) and _is_over(int(named[1]), entry):
                shutil.rmtree(entry, ignore_errors=True)


def _is_ours(folder: Path) -> bool:
    """Whether it is a folder, no link to one, and made by the same user."""
    try:
        found = folder.lstat()
    except OSError:
        return False
    is_folder = folder.is_dir() and not folder.is_symlink()
    return is_folder and (sys.platform == "win32" or found.st_uid == os.getuid())


def _is_over(process: int, folder: Path) -> bool:
    if sys.platform == "win32":  # there os.kill would end it
        with suppress(OSError):
            return time.time() - folder.stat().st_mtime > _OLD_S
        return False
    try:
        os.kill(process, 0)
    except OSError:  # none has that number, or somebody else's process has it now
        return True
    return False
