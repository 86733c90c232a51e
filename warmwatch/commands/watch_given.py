"""What `warmwatch watch` was given on the command line, read once, in groups."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from warmwatch.app.wiring import PageOptions
from warmwatch.errors import UsageError


@dataclass(frozen=True, slots=True)
class JobGiven:
    """What the job is."""

    band: str | None
    unit: str | None
    job_file: Path | None
    vehicle: str | None
    visit: str | None
    method: str | None
    band_source: str | None
    drain_band: str | None
    tilt: float | None
    tilt_axis: str | None
    in_park: bool
    lead: float | None

    @property
    def lead_s(self) -> float | None:
        """The lead in seconds; the option counts minutes."""
        return None if self.lead is None else self.lead * 60.0

    @property
    def check(self) -> dict[str, Any]:
        """What was told about the check; None is not told."""
        return {
            "tilt_deg": self.tilt,
            "tilt_axis": self.tilt_axis,
            "in_park": self.in_park or None,
        }


@dataclass(frozen=True, slots=True)
class LinkGiven:
    """How the link is read."""

    columns: Sequence[str]
    zone: str | None
    pace: str | None
    keep_bus: bool


@dataclass(frozen=True, slots=True)
class RunGiven:
    """How the watch runs, and what it keeps."""

    until: str | None
    record: Path | None
    no_record: bool
    cautions_understood: bool
    yes: bool
    learn: Path | None


@dataclass(frozen=True, slots=True)
class ShowGiven:
    """What is shown and sounded, and which keys set marks."""

    as_json: bool
    quiet: bool
    speak: bool
    plain: bool
    commands: Sequence[str]
    hook_on: str | None
    keys: Sequence[str]


@dataclass(frozen=True, slots=True)
class PageGiven:
    """Whether and how a page is served."""

    page: bool | None
    page_host: str | None
    page_port: int | None
    page_marks: bool | None

    @property
    def options(self) -> PageOptions:
        """Where and with which rights."""
        return PageOptions(self.page_host, self.page_port, self.page_marks)


@dataclass(frozen=True, slots=True)
class Given:
    """The whole command line."""

    name: str
    job: JobGiven
    link: LinkGiven
    run: RunGiven
    show: ShowGiven
    page: PageGiven

    @classmethod
    def of(cls, given: Mapping[str, Any]) -> "Given":
        """Return the groups; UsageError where two options do not go together."""
        if given["record"] is not None and given["no_record"]:
            raise UsageError("--record and --no-record cannot be used together.")
        if given["keep_bus"] and given["no_record"]:
            raise UsageError("--keep-bus keeps the bus beside a recording: leave out --no-record.")
        if given["hook_on"] is not None and not given["commands"]:
            raise UsageError("--hook-on needs --hook.")
        return cls(
            given["link"],
            job=_group(JobGiven, given),
            link=_group(LinkGiven, given),
            run=_group(RunGiven, given),
            show=_group(ShowGiven, given),
            page=_group(PageGiven, given),
        )


def _group(kind: type[Any], given: Mapping[str, Any]) -> Any:
    return kind(**{field.name: given[field.name] for field in fields(kind)})
