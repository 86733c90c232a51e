"""What a command line says, turned into a job and an address."""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from warmwatch.book.band_text import parse_band
from warmwatch.book.toml_text import toml_trouble
from warmwatch.core.band import Band
from warmwatch.core.job import Job, job_from_mapping
from warmwatch.errors import RecordingError, UsageError
from warmwatch.links.address import Address
from warmwatch.recording.reader import is_recording
from warmwatch.recording.sidecar import read_sidecar, sidecar_job

NOTHING: Mapping[str, Any] = MappingProxyType({})
DEMO_BAND = "80:90"
"""Where the invented vehicle has its band; for a real one there is no such thing as a usual one."""


def read_job_file(path: Path) -> dict[str, Any]:
    """Return a job file's keys; UsageError names the file and the line when it is not TOML."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise UsageError(f"There is no job file {path}: check the name.") from None
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"The job file {path} cannot be read: {error}.") from None
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"The job file {path}: {toml_trouble(text, error)}.") from None
    except RecursionError as error:
        raise UsageError(f"The job file {path} is not valid TOML: {error}.") from None


@dataclass(frozen=True, slots=True)
class JobFile:
    """A job file's content, and its name for sentences; empty where none was given."""

    content: Mapping[str, Any] = field(default_factory=dict)
    name: str = ""

    @classmethod
    def of(cls, path: Path | None) -> "JobFile":
        """Read the file; raises UsageError."""
        return cls() if path is None else cls(read_job_file(path), str(path))


def make_job(
    address: Address,
    file: JobFile,
    band: str | None,
    unit: str | None,
    *,
    book: Mapping[str, Any] = NOTHING,
    **given: Any,
) -> Job:
    """Return the job from the options, the job file, the book and, for a recording, its sidecar.

    Options win over the job file, and that over the book, whose values have the form of a job
    file; a recording has its own job, and the book adds nothing to it. `given` holds further Job
    fields; None means not given. Raises UsageError.
    """
    told_band = file.content.get("band", book.get("band"))
    base = _job_of_link(address, banded=band is not None or told_band is not None)
    mapping = merged(book if base is None else NOTHING, file.content)
    file_band = mapping.pop("band", None)
    unit = unit or str(mapping.pop("unit", "C" if base is None else base.unit))
    chosen = _chosen_band(band, file_band, unit, base)
    if isinstance(mapping.get("drain_band"), str):
        drain = parse_band(mapping["drain_band"], unit, "drain_band")
        mapping["drain_band"] = {"low_c": drain.low_c, "high_c": drain.high_c}
    try:
        start = Job(chosen) if base is None or file.name else replace(base, band=chosen)
        known = {key: _text(value) for key, value in given.items() if value is not None}
        plain = {"low_c": chosen.low_c, "high_c": chosen.high_c}
        job = job_from_mapping({"band": plain, "unit": unit, **mapping}) if mapping else start
        return replace(job, unit=unit, **known)
    except ValueError as error:
        where = f"The job file {file.name}: " if file.name else ""
        raise UsageError(f"{where}{error}.") from None


def merged(*layers: Mapping[str, Any]) -> dict[str, Any]:
    """Return the layers as one; a later one wins, key by key, also inside sections.

    >>> merged({"fluid": {"capacity_l": 9.0}, "unit": "F"}, {"fluid": {"density_kg_m3": 850.0}})
    {'fluid': {'capacity_l': 9.0, 'density_kg_m3': 850.0}, 'unit': 'F'}
    """
    whole: dict[str, Any] = {}
    for layer in layers:
        for key, value in layer.items():
            both = isinstance(value, Mapping) and isinstance(whole.get(key), Mapping)
            whole[key] = {**whole[key], **value} if both else value
    return whole


def origins(**layers: Mapping[str, Any]) -> dict[str, str]:
    """Return from which layer each value comes, by its name in a job file; a later one wins.

    None is not given.

    >>> origins(book={"band": "80:90", "fluid": {"capacity_l": 9.0}}, option={"band": "70:80"})
    {'band': 'option', 'fluid.capacity_l': 'book'}
    """
    found: dict[str, str] = {}
    for layer, values in layers.items():
        for key, value in values.items():
            inner = value if isinstance(value, Mapping) else {"": value}
            names = [f"{key}.{name}".rstrip(".") for name in inner if inner[name] is not None]
            found |= dict.fromkeys(names, layer.replace("_", " "))
    return found


def _text(value: Any) -> Any:
    """Return a label with a question mark for each byte that was no UTF-8."""
    return value.encode("utf-8", "replace").decode("utf-8") if isinstance(value, str) else value


def with_check(job: Job, drain_band: str | None, **told: Any) -> Job:
    """Return the job with the band for draining and with what was told about the check.

    `told` holds fields of CheckRules; None and False mean not told. Raises UsageError.
    """
    known = {key: value for key, value in told.items() if value not in (None, False)}
    try:
        job = replace(job, check=replace(job.check, **known))
    except ValueError as error:
        raise UsageError(f"{str(error)[0].upper()}{str(error)[1:]}.") from None
    if drain_band is None:
        return job
    return replace(job, drain_band=parse_band(drain_band, job.unit, "--drain-band"))


def _job_of_link(address: Address, *, banded: bool) -> Job | None:
    """Return the job that a link brings along: a recording its own, the invented vehicle one."""
    if address.about_kind.invented and not banded:
        band = parse_band(address.options.get("band", DEMO_BAND), option="demo: band")
        return Job(band, band_source="invented for the demo")
    path = Path(address.rest)
    if not address.about_kind.replay or not is_recording(path):
        return None
    try:
        return sidecar_job(read_sidecar(path))
    except RecordingError as error:
        if banded:
            return None  # the link tells it
        raise UsageError(f"{error} Or give the band, as in --band 80:90.") from None


def _chosen_band(option: str | None, from_file: Any, unit: str, base: Job | None) -> Band:
    if option is not None:
        return parse_band(option, unit)
    if from_file is not None:
        if not isinstance(from_file, str):
            raise UsageError('band: a text like "80:90" or "176F:194F" is needed in the job file.')
        return parse_band(from_file, unit)
    if base is not None:
        return base.band
    raise UsageError(
        "The band is missing: give the check temperature from the service information, "
        "as in --band 80:90 or --band 176F:194F."
    )


def with_columns(
    address: Address, columns: Iterable[str], unit: str | None, zone: str | None = None
) -> Address:
    """Return the address with `--column quantity=NAME`, the unit and the zone as its options."""
    options = dict(address.options)
    for column in columns:
        name, equals, value = column.partition("=")
        if not equals or not value:
            raise UsageError(f"--column {column}: write it like --column fluid_c=NAME.")
        if address.kind != "csv":
            raise UsageError(f"--column is for CSV files; {address.kind}: names its values itself.")
        options[name] = value
    foreign_csv = address.kind == "csv" and not is_recording(Path(address.rest))
    if (
        unit is not None
        and "unit" not in options
        and (foreign_csv or address.about_kind.foreign_units)
    ):
        options["unit"] = unit
    if zone is not None:
        if not foreign_csv:
            raise UsageError("--zone is for CSV files of other programs: all else says its zone.")
        options["zone"] = zone
    return replace(address, options=options)
