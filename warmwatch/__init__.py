"""warmwatch: says when transmission fluid is inside its check-temperature band, and proves it."""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from warmwatch.analysis.many.frames import read_recordings
    from warmwatch.recording.reader import read_recording

__version__ = "0.1.0"
__all__ = ["__version__", "read_recording", "read_recordings"]

_LAZY = {
    "read_recording": "warmwatch.recording.reader",
    "read_recordings": "warmwatch.analysis.many.frames",
}


def __getattr__(name: str) -> object:
    """Import the readers on first use: they need pandas, which is slow to load."""
    if name in _LAZY:
        return getattr(import_module(_LAZY[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
