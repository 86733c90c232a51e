"""What a kept bus log's own recording knows: `X.bus.log` lies beside `X.csv`."""

import re
from dataclasses import fields
from pathlib import Path

from warmwatch.errors import RecordingError
from warmwatch.recording.sidecar import read_sidecar
from warmwatch.signals import Signal

_KEPT = re.compile(r"(.+)\.bus\.(?:log|txt)(?:\.gz)?")
_NAMES = frozenset(field.name for field in fields(Signal))


def signals_beside(log: Path) -> tuple[Signal, ...]:
    """Return the signals that were asked for when the log was kept; none where that is unknown."""
    match = _KEPT.fullmatch(log.name)
    if match is None:
        return ()
    try:
        link = read_sidecar(log.with_name(match[1] + ".csv")).get("warmwatch:link")
    except RecordingError:
        return ()
    rows = link.get("signals") if isinstance(link, dict) else None
    return tuple(_signals(rows)) if isinstance(rows, list) else ()


def _signals(rows: list[object]) -> list[Signal]:
    found = []
    for row in rows:
        if isinstance(row, dict) and {"service", "identifier"} <= row.keys() <= _NAMES:
            found.append(Signal(**row))
    return found
