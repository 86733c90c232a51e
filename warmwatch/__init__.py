"""warmwatch: says when transmission fluid is inside its check-temperature band, and proves it."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from warmwatch.recording.reader import read_recording

__version__ = "0.1.0"
__all__ = ["__version__", "read_recording"]


def __getattr__(name: str) -> object:
    """Import `read_recording` on first use: it needs pandas, which is slow to load."""
    if name == "read_recording":
        from warmwatch.recording.reader import read_recording

        return read_recording
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
