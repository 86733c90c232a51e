"""Where a recording and its companions lie, and how a sidecar is written as text."""

import hashlib
import json
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

MAX_STEM = 200
"""Bytes of a recording's name without its endings; most systems take 255 in all."""


def sidecar_path(recording: Path) -> Path:
    """Return the path of a recording's sidecar."""
    return recording.with_name(recording.name + "-metadata.json")


def checkpoint_path(recording: Path) -> Path:
    """Return the path of a recording's checkpoint."""
    return recording.with_name(recording.name + "-checkpoint.json")


def stem_of(utc_s: float, *labels: str) -> str:
    """Return a recording's name without its endings: when it began, and its labels.

    >>> stem_of(1_780_000_000.0, "blue van / no plate", "")
    '2026-05-28T20-26-40Z_blue-van---no-plate'
    """
    start = datetime.fromtimestamp(utc_s, tz=UTC).strftime("%Y-%m-%dT%H-%M-%SZ")
    plain = (_plain(label) for label in labels)
    stem = "_".join([start, *(label for label in plain if label)])
    # Systems count a name's bytes, not its letters; room is left for a number and the endings.
    return stem.encode("utf-8")[:MAX_STEM].decode("utf-8", "ignore").rstrip("-._")


def _plain(label: str) -> str:
    kept = "".join(char if char.isalnum() or char in "-." else "-" for char in label)
    return kept.strip("-.")[:40]


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
