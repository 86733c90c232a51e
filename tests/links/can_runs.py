"""Runs a link against the test vehicle for a bounded time and keeps what came."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from warmwatch.core.notice import Notice
from warmwatch.core.reading import Reading
from warmwatch.links.address import parse_address
from warmwatch.links.base import Link, open_link

FLUID_FILE = """
[[signal]]
name = "fluid_c"
service = 0x22
identifier = 0x1234
length = 2
record_length = 2
signed = true
scale = 0.1
offset = 0
unit = "C"
source = "invented for the tests"
"""


@dataclass
class Run:
    """Everything that a link yielded."""

    readings: list[Reading] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)

    @property
    def texts(self) -> str:
        return "\n".join(notice.text for notice in self.notices)

    @property
    def fluid(self) -> list[float]:
        return [r.values["fluid_c"] for r in self.readings if "fluid_c" in r.values]

    def latest(self) -> dict[str, float]:
        values: dict[str, float] = {}
        for reading in self.readings:
            values.update(reading.values)
        return values


def watch(
    address: str, enough: Callable[[Run], object], longest_s: float = 8.0, run: Run | None = None
) -> Run:
    """Iterate a link until `enough` says so; failing to get there in time fails the test."""
    link = open_link(parse_address(address))
    try:
        return follow(link, enough, longest_s, run)
    finally:
        link.close()


def follow(
    link: Link, enough: Callable[[Run], object], longest_s: float = 8.0, run: Run | None = None
) -> Run:
    """As `watch`, on a link that is open and stays so."""
    run = run or Run()
    until_s = time.monotonic() + longest_s
    for item in link.items():
        if isinstance(item, Reading):
            run.readings.append(item)
        elif isinstance(item, Notice):
            run.notices.append(item)
        if enough(run):
            return run
        assert time.monotonic() < until_s, f"not in time; told: {run.texts}"
    raise AssertionError("the link ended")


def signal_file(tmp_path: Path, text: str = FLUID_FILE, **more: object) -> Path:
    """Write a signal file; `more` are further keys of its only table."""
    path = tmp_path / "vehicle.toml"
    extra = "".join(f"{key} = {value}\n" for key, value in more.items())
    path.write_text(text + extra, encoding="utf-8")
    return path
