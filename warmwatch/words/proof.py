"""The sentences of proof, verify and jobs."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from warmwatch.core.job import Job
from warmwatch.recording.rows import utc_text
from warmwatch.recording.seal.report import Report, SealState, Vouched
from warmwatch.words.events import band_text, temperature
from warmwatch.words.verdict import span_text, verdict_lines

PROVES = (
    "A good digest chain shows that the recording is as warmwatch wrote it; a good signature also "
    "that nobody without the key altered it afterwards. Neither shows that the sensor told the "
    "truth, nor that the marks were set at the right moment."
)


def report_lines(file: Path, report: Report) -> list[str]:
    """Return a verification for people."""
    where = f" at row {report.row}" if report.row is not None else ""
    lines = [f"{file.name}: {_STATES[report.state]}{where}."]
    if report.reason:
        lines.append(f"  {report.reason[0].upper()}{report.reason[1:]}.")
    if report.vouched is not None:
        lines += [f"  {label:18} {text}" for label, text in vouched_facts(report.vouched)]
    if report.state is SealState.INTACT:
        lines.append(f"  {report.rows} rows; events worked out again: {report.events}.")
    if report.checkpoint:
        lines.append(f"  {report.checkpoint[0].upper()}{report.checkpoint[1:]}.")
    lines += [f"  {text[0].upper()}{text[1:]}." for text in report.remarks]
    lines += [f"  {text}" for text in report.inside]
    if report.told:
        told = "; ".join(report.told)
        lines.append(f"  Told by who made the page, and in no recording: {told}.")
    if report.signed_by:
        name = f" ({report.signed_name})" if report.signed_name else ""
        when = f" on {report.signed_time}" if report.signed_time else ""
        lines.append(f"  Signed by key {report.signed_by}{name}{when}.")
    elif report.state in (SealState.INTACT, SealState.OTHER_VERSION):
        lines.append("  Not signed: somebody who knows the format could have written it anew.")
    return [*lines, f"  {PROVES}"]


def vouched_facts(vouched: Vouched) -> list[tuple[str, str]]:
    """Return the facts that a verification vouches for, with their labels."""
    job, verdict, utc_s = vouched.job, vouched.verdict, vouched.utc_s
    first, *rest = verdict_lines(verdict, job.band, job.unit)
    began = "not known" if utc_s is None else vouched.zone.text(utc_s)
    facts = [
        ("vehicle", job.vehicle or "not named"),
        ("recorded", began),
        ("check temperature", f"{band_text(job.band, job.unit)}, {source_text(job)}"),
    ]
    if verdict.low_c is not None and verdict.high_c is not None:
        span = span_text(verdict.low_c, verdict.high_c, job.unit, job.band)
        facts.append(("with the plug out", f"fluid at {span}"))
    return [*facts, ("level", first), *(("", text.strip()) for text in rest)]


def source_text(job: Job) -> str:
    """Return where the band was taken from."""
    return f"taken from: {job.band_source}" if job.band_source else "not told where from"


_STATES = {
    SealState.INTACT: "intact",
    SealState.CHANGED: "CHANGED",
    SealState.TORN: "TORN at the end",
    SealState.NEVER_CLOSED: "whole as far as it goes, but never closed",
    SealState.OTHER_KEY: "NOT SIGNED BY THAT KEY",
    SealState.OTHER_VERSION: "whole, but its events are not checked",
    SealState.NO_TIME_STAMP: "WITHOUT A TIME STAMP BY THAT AUTHORITY",
    SealState.NOT_IN_LOG: "NOT AS THAT LOG OF THE SHOP HAS IT",
    SealState.PAGE_UNSIGNED: "recording signed, PAGE NOT",
    SealState.PAGE_NOT_MADE: "recording whole, page NOT CHECKED",
}


def report_object(file: Path, report: Report) -> Mapping[str, Any]:
    """Return a verification as one JSON object."""
    signed = {
        "key": report.signed_by,
        "name": report.signed_name,
        "time": report.signed_time,
    }
    return {
        "file": str(file),
        "state": str(report.state),
        "reason": report.reason,
        "row": report.row,
        "rows": report.rows,
        "digest": report.digest,
        "events": report.events,
        "outcome": report.outcome or None,
        "inside": list(report.inside),
        "told": list(report.told),
        "remarks": list(report.remarks),
        "vouched": None if report.vouched is None else dict(vouched_object(report.vouched)),
        "checkpoint": report.checkpoint or None,
        "signature": signed if report.signed_by else None,
    }


def vouched_object(vouched: Vouched) -> Mapping[str, Any]:
    """Return the facts that a verification vouches for as JSON values."""
    job, verdict = vouched.job, vouched.verdict
    return {
        "vehicle": job.vehicle,
        "time": utc_text(vouched.utc_s) or None,
        "band": {"low_c": job.band.low_c, "high_c": job.band.high_c},
        "band_source": job.band_source,
        "low_c": verdict.low_c,
        "high_c": verdict.high_c,
        "sign": str(verdict.sign),
    }


def temperature_or_unknown(value_c: float | None, unit: str) -> str:
    """Return a temperature, or `not known`."""
    return "not known" if value_c is None else temperature(value_c, unit)
