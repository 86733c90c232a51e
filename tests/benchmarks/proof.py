"""Listing and verifying as ratios, measured in one run: `python -m tests.benchmarks.proof`.

Prints:
- `jobs` over 10 000 recordings, against opening each of them and its sidecar and reading 4 kB;
- `verify` of an hour at 10 Hz, against folding the same readings alone.
"""

import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from tests.recording.invented import JOB, UTC_S, record
from warmwatch.core.reading import Reading
from warmwatch.core.watch import Watch
from warmwatch.recording.jobs import list_recordings
from warmwatch.recording.names import sidecar_path
from warmwatch.recording.seal.verify import verify_recording

FILES = 10_000
HERTZ = 10
SECONDS = 3600


def main() -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as name:
        report_jobs(Path(name))
        report_verify(Path(name))


def report_jobs(folder: Path) -> None:
    """Print the cost of the list."""
    path = record(folder / "one")
    data, sidecar = path.read_bytes(), sidecar_path(path).read_bytes()
    many = folder / "many"
    many.mkdir()
    for number in range(FILES):
        one = many / f"{number:05}.csv"
        one.write_bytes(data)
        sidecar_path(one).write_bytes(sidecar)
    listed_s = timed(lambda: list_recordings(many))
    bare_s = timed(lambda: [_read(file) for file in many.iterdir()])
    print(
        f"jobs:   {listed_s:.2f} s for {FILES} recordings, {listed_s / bare_s:.1f} x reading 4 kB"
    )


def _read(file: Path) -> bytes:
    with file.open("rb") as opened:
        return opened.read(4096)


def report_verify(folder: Path) -> None:
    """Print the cost of verifying."""
    items = list(readings())
    path = record(folder / "long", items)
    watch = Watch(JOB)
    fold_s = timed(lambda: [watch.step(item) for item in items])
    verify_s = timed(lambda: verify_recording(path))
    each_us = verify_s / len(items) * 1e6
    print(f"verify: {each_us:.0f} us a row, {verify_s / fold_s:.1f} x the fold alone")


def readings() -> Iterator[Reading]:
    """Yield an invented warm-up in half degrees."""
    for number in range(SECONDS * HERTZ):
        at_s = number / HERTZ
        values = {"fluid_c": round(2 * (40 + at_s / 80)) / 2, "engine_rpm": 760.0, "speed_kmh": 0.0}
        yield Reading(at_s, values, raw="7E9 6278", utc_s=UTC_S + at_s)


def timed(act: Callable[[], object]) -> float:
    """Return the seconds that `act` takes."""
    start_s = time.perf_counter()
    act()
    return time.perf_counter() - start_s


if __name__ == "__main__":
    main()
