"""Rows of the published check values in shared/."""

import csv
from pathlib import Path

SHARED = Path(__file__).parents[2] / "shared"


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of shared/`name`; there must be some."""
    with (SHARED / name).open(encoding="utf-8", newline="") as file:
        found = list(csv.DictReader(file))
    assert found
    return found
