"""Makes the invented recordings in recordings/: `python -m tests.make_recordings [FOLDER]`.

Everything comes from the invented vehicle with fixed seeds, through the same link, fold and
recorder that a real vehicle would get. Takes about a minute. Run it again whenever the fold's
events or the recording's columns change.
"""

import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

from warmwatch.app.session import Session
from warmwatch.core.band import Band
from warmwatch.core.job import Job
from warmwatch.core.units import c_to_f
from warmwatch.core.watch import Watch
from warmwatch.demo.car import Upset, UpsetKind
from warmwatch.demo.link import DemoLink, settings_of
from warmwatch.demo.scenario import make_scenario
from warmwatch.demo.simulation import Vehicle, outline
from warmwatch.links.address import parse_address
from warmwatch.recording.writer import create

FOLDER = Path(__file__).parents[1] / "recordings"
PACE = 1e6
BAND = Band(80.0, 90.0)
FIRST_DAY = datetime(2026, 1, 12, 8, 0, tzinfo=UTC)
COMPARED = {"idle": 2, "heater": 2, "fast-idle": 2, "drive": 2, "loaded": 1}
"""The methods of the comparison and their poll periods in s: a hold of 5 s needs the short one."""
RUNS = 3
HEATER_MIN = 40.0


@dataclass(frozen=True, slots=True)
class Sample:
    """One recording to make: where, from which address, with which method label, and when."""

    folder: str
    address: str
    method: str
    day: int
    upsets: tuple[Upset, ...] = ()


def comparison() -> Iterator[Sample]:
    """Yield three runs of each method, from starts and in surroundings that differ a little."""
    for index, (method, poll_s) in enumerate(COMPARED.items()):
        for run in range(RUNS):
            seed = 100 + 10 * index + run
            chance = Random(seed)
            start, ambient = chance.uniform(61.5, 64.5), chance.uniform(23.0, 28.0)
            address = f"demo:?method={method}&seed={seed}&poll={poll_s}"
            address += f"&start={start:.1f}&ambient={ambient:.1f}"
            if method == "heater":
                address += f"&minutes={HEATER_MIN:g}"
            yield Sample("", address, method, day=RUNS * index + run)


TROUBLES = (
    Upset(UpsetKind.MISREAD, 300.0, 4.0),
    Upset(UpsetKind.SILENCE, 700.0, 25.0),
    Upset(UpsetKind.SILENCE, 1760.0, 12.0),
    Upset(UpsetKind.MISREAD, 1900.0, 1.0),
)
SINGLES = (
    Sample("single", "demo:?method=idle&seed=41&start=63&ambient=26", "idle", 20),
    Sample("single", "demo:?seed=2", "drive-idle", 21),
    Sample("single", "demo:?method=idle-loaded-idle&seed=43&start=53&ambient=24", "mixed", 22),
    Sample("trouble", "demo:?seed=2", "drive-idle", 23, TROUBLES),
)


def record(sample: Sample, folder: Path) -> Path:
    """Make one recording and return its path."""
    start_utc_s = (FIRST_DAY + timedelta(days=sample.day)).timestamp()
    settings = settings_of(parse_address(sample.address), PACE)
    settings = replace(settings, upsets=sample.upsets)
    link = DemoLink(settings, sample.address, start_utc_s)
    job = Job(
        BAND,
        vehicle="invented",
        method=sample.method,
        band_source="invented for the demo",
        poll_s=link.poll_s,
    )
    recorder = create(folder / sample.folder, job, sample.address, link.describe(), start_utc_s)
    Session(link, Watch(job), [], address=sample.address, recorder=recorder).run()
    return recorder.path


def foreign(path: Path) -> None:
    """Write a table as some thermometer might: semicolons, decimal commas, degF, its own names."""
    scenario = make_scenario(seed=51)
    vehicle = Vehicle(scenario)
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        file.write("Zeit_s;Getriebe_F;Luft_F\r\n")
        for second in range(0, int(outline(scenario, 7200.0).seconds), 2):
            vehicle.advance_to(float(second))
            cells = (second, c_to_f(vehicle.state.fluid_c), c_to_f(scenario.ambient_c))
            file.write(";".join(f"{cell:.1f}".replace(".", ",") for cell in cells) + "\r\n")


def make_all(folder: Path) -> None:
    """Replace the recordings in `folder`."""
    for old in [*folder.glob("*.csv"), *folder.glob("*.csv-metadata.json")]:
        old.unlink()
    for name in ("single", "trouble", "foreign"):
        shutil.rmtree(folder / name, ignore_errors=True)
    for sample in (*comparison(), *SINGLES):
        path = record(sample, folder)
        print(f"{path.relative_to(folder)}  {path.stat().st_size // 1024} kB")
    foreign(folder / "foreign" / "semicolons.csv")


if __name__ == "__main__":
    make_all(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
