"""warmwatch: says when transmission fluid is inside its check-temperature band, and proves it.

The names below are the public API, described in docs/api.md. Each is imported when it is first
used: some need pandas, which is slow to load.
"""

from importlib import import_module
from typing import TYPE_CHECKING

from warmwatch._version import __version__

if TYPE_CHECKING:
    from warmwatch.analysis.compare import compare
    from warmwatch.analysis.many.frames import read_recordings
    from warmwatch.core.band import Band
    from warmwatch.core.forecast.forecaster import Forecaster
    from warmwatch.core.job import Job
    from warmwatch.core.reading import Mark, MarkName, Reading, Tick
    from warmwatch.core.watch import Watch
    from warmwatch.errors import WarmwatchError
    from warmwatch.outputs.proof.reading import verify_file as verify
    from warmwatch.recording.reader import read_recording

__all__ = [
    "Band",
    "Forecaster",
    "Job",
    "Mark",
    "MarkName",
    "Reading",
    "Tick",
    "WarmwatchError",
    "Watch",
    "__version__",
    "compare",
    "read_recording",
    "read_recordings",
    "verify",
]

_HOMES = {
    "Band": "warmwatch.core.band:Band",
    "Forecaster": "warmwatch.core.forecast.forecaster:Forecaster",
    "Job": "warmwatch.core.job:Job",
    "Mark": "warmwatch.core.reading:Mark",
    "MarkName": "warmwatch.core.reading:MarkName",
    "Reading": "warmwatch.core.reading:Reading",
    "Tick": "warmwatch.core.reading:Tick",
    "WarmwatchError": "warmwatch.errors:WarmwatchError",
    "Watch": "warmwatch.core.watch:Watch",
    "compare": "warmwatch.analysis.compare:compare",
    "read_recording": "warmwatch.recording.reader:read_recording",
    "read_recordings": "warmwatch.analysis.many.frames:read_recordings",
    "verify": "warmwatch.outputs.proof.reading:verify_file",
}


def __getattr__(name: str) -> object:
    """Import a name of the API from the room it lives in."""
    if name in _HOMES:
        module, _, inside = _HOMES[name].partition(":")
        return getattr(import_module(module), inside)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
