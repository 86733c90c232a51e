"""Many recordings: finds them, and gives them to pandas users in one frame."""

import os
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from warmwatch.errors import RecordingError, UsageError
from warmwatch.recording.reader import is_recording, read_recording
from warmwatch.recording.sidecar import sidecar_job

if TYPE_CHECKING:
    import pandas as pd

BESIDE = ("-metadata.json", "-signature.json", "-checkpoint.json", ".sig", ".pub")
"""Ends of the files that belong to recordings and are none."""


@dataclass(frozen=True, slots=True)
class Note:
    """Something to be told about a recording; `used` says whether it is used all the same.

    `why` is a reason as text: a code with figures, or an error's own sentence. `about` are the
    names that belong to it.
    """

    name: str
    why: str
    used: bool
    about: Mapping[str, str] = field(default_factory=dict, hash=False)


def find_recordings(paths: Iterable[Path]) -> tuple[dict[Path, str], list[Note]]:
    """Return the recordings among files and folders, with short names, and what else lies there.

    A name that would stand for two recordings is the whole path. Folders are searched to any depth;
    hidden files and the files beside recordings are passed over.
    Raises UsageError for a path that is not there.
    """
    found: dict[Path, str] = {}
    notes = []
    for path in paths:
        if not path.exists():
            why = "leads to a file that is not there" if path.is_symlink() else ""
            raise UsageError(f"{path} {why}." if why else f"There is no {path}: check the name.")
        files, unseen = _files_of(path)
        notes += unseen
        for file in files:
            name = file.relative_to(path).as_posix() if path.is_dir() else file.name
            if is_recording(file):
                found.setdefault(file, name)
            else:
                notes.append(Note(name, "no-recording", used=False))
    counts = Counter(found.values())
    return {file: name if counts[name] == 1 else str(file) for file, name in found.items()}, notes


def _files_of(path: Path) -> tuple[list[Path], list[Note]]:
    """Return the files that may be recordings, sorted, and a note for each place not looked into.

    Links to folders are not followed: they may lead round in a circle.
    """
    if not path.is_dir():
        return [path], []
    files: list[Path] = []
    unseen: list[Note] = []

    def closed(error: OSError) -> None:
        where = Path(error.filename).relative_to(path).as_posix()
        unseen.append(
            Note(where, "not-looked-into", used=False, about={"why": str(error.strerror)})
        )

    for root, folders, names in os.walk(path, onerror=closed):
        folders[:] = [name for name in folders if not name.startswith(".")]
        links = [name for name in folders if Path(root, name).is_symlink()]
        for name in (*links, *(name for name in names if not name.startswith("."))):
            file = Path(root, name)
            if file.is_file() and not name.endswith(BESIDE):
                files.append(file)
            elif why := _why_unseen(file):
                unseen.append(Note(file.relative_to(path).as_posix(), why, used=False))
    return sorted(files), unseen


def _why_unseen(file: Path) -> str:
    """Return why a name in a folder is not looked at; empty text for what lies beside them."""
    if file.is_symlink() and file.is_dir():
        return "folder-link"
    if file.is_symlink() and not file.exists():
        return "broken-link"
    return "" if file.is_file() else "no-file"


def read_recordings(*paths: str | Path) -> "pd.DataFrame":
    """Return all recordings among files and folders as one DataFrame.

    The columns are those of `read_recording`, with `recording` (the file's name), `vehicle` and
    `method` in front. `.attrs["skipped"]` maps the names of files that could not be read to the
    reasons (codes, or sentences of errors), and `.attrs["torn"]` those whose last line is not
    whole. Raises UsageError for a path that is not there, RecordingError when no recording is left.
    """
    import pandas as pd

    found, notes = find_recordings(Path(path) for path in paths)
    skipped = {note.name: note.why for note in notes}
    torn: dict[str, str] = {}
    frames = []
    for file, name in found.items():
        try:
            frame = read_recording(file)
            job = sidecar_job(frame.attrs["sidecar"])
        except RecordingError as error:
            skipped[name] = str(error)
            continue
        if frame.attrs["torn"]:
            torn[name] = frame.attrs["torn"]
        frame.attrs = {}  # else pandas compares the sidecars of all frames with each other
        lead = {"recording": name, "vehicle": job.vehicle, "method": job.method}
        for column, text in reversed(lead.items()):
            frame.insert(0, column, text)
        frames.append(frame)
    if not frames:
        raise RecordingError(f"No recording can be read in {', '.join(map(str, paths))}.")
    whole = pd.concat(frames, ignore_index=True)
    whole.attrs = {"skipped": skipped, "torn": torn}
    return whole
