"""Where a recording and its companions lie, and how a sidecar is written as text."""

import hashlib
import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any


def sidecar_path(recording: Path) -> Path:
    """Return the path of a recording's sidecar."""
    return recording.with_name(recording.name + "-metadata.json")


def names_for(folder: Path, stem: str) -> Iterator[Path]:
    """Yield the names that a recording may take, best first: taken ones get a number."""
    yield folder / f"{stem}.csv"
    number = 2
    while True:
        yield folder / f"{stem}_{number}.csv"
        number += 1


def sidecar_text(document: Mapping[str, Any]) -> str:
    """Return a sidecar as it stands in its file."""
    text = json.dumps(document, indent=1, ensure_ascii=False) + "\n"
    return text.encode("utf-8", "replace").decode("utf-8")  # a file's name may be no UTF-8


def text_digest(text: str) -> str:
    """Return the SHA-256 of a sidecar's text, as the first row keeps it."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
