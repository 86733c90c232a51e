"""The sentences of proof, verify and jobs."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from warmwatch.core.job import Job
from warmwatch.errors import one_line
from warmwatch.recording.rows import utc_text
from warmwatch.recording.seal.report import Report, SealState, Vouched
from warmwatch.words.catalogue import capital, phrase, temperature
from warmwatch.words.events import band_text
from warmwatch.words.verdict import span_text, verdict_lines


def report_lines(file: Path, report: Report, *, compared: bool = False) -> list[str]:
    """Return a verification for people; `compared` when a key to compare with was given."""
    where = "" if report.row is None else phrase("seal.at-row", row=report.row)
    state = phrase(f"seal.{report.state}")
    lines = [phrase("seal.head", file=file.name, state=state, where=where)]
    if report.reason:
        lines.append(f"  {capital(report.reason)}.")
    if report.vouched is not None:
        lines += [f"  {label:18} {text}" for label, text in vouched_facts(report.vouched)]
    if report.state is SealState.INTACT:
        code = "rows-unchecked" if report.events == "not worked out" else "rows"
        lines.append(phrase(f"seal.{code}", rows=report.rows, events=report.events))
    if report.checkpoint:
        lines.append(f"  {capital(report.checkpoint)}.")
    lines += [f"  {capital(text)}." for text in report.remarks]
    if report.bus is not None and report.bus.state:
        lines.append(phrase(f"seal.bus-{report.bus.state}", name=report.bus.name))
    lines += [f"  {text}" for text in report.inside]
    if report.told:
        lines.append(phrase("seal.told", told="; ".join(report.told)))
    if report.signed_by:
        when = phrase("seal.when", time=report.signed_time) if report.signed_time else ""
        name = key_name_text(report.signed_name)
        lines.append(phrase("seal.signed", key=report.signed_by, name=name, when=when))
        lines += [] if compared else [phrase("seal.not-compared")]
    elif report.state in (SealState.INTACT, SealState.OTHER_VERSION):
        lines.append(phrase("seal.not-signed"))
    return [one_line(line) for line in (*lines, f"  {phrase('seal.proves')}")]


def key_name_text(name: str) -> str:
    """Return a key's name as it stands behind its fingerprint; empty where it has none."""
    return phrase("seal.name", name=name) if name else ""


def vouched_facts(vouched: Vouched) -> list[tuple[str, str]]:
    """Return the facts that a verification vouches for, with their labels."""
    job, verdict, utc_s = vouched.job, vouched.verdict, vouched.utc_s
    first, *rest = verdict_lines(verdict, job.band, job.unit)
    began = phrase("seal.not-known") if utc_s is None else vouched.zone.text(utc_s)
    band = phrase("seal.band", band=band_text(job.band, job.unit), source=source_text(job))
    facts = [
        ("vehicle", job.vehicle or phrase("seal.not-named")),
        ("recorded", began),
        ("check-temperature", band),
    ]
    if verdict.low_c is not None and verdict.high_c is not None:
        span = span_text(verdict.low_c, verdict.high_c, job.unit, job.band)
        facts.append(("plug-out", phrase("seal.fluid-at", span=span)))
    labelled = [(phrase(f"seal.{label}"), text) for label, text in (*facts, ("level", first))]
    return [*labelled, *(("", text.strip()) for text in rest)]


def source_text(job: Job) -> str:
    """Return where the band was taken from."""
    if not job.band_source:
        return phrase("seal.no-source")
    return phrase("seal.source", source=job.band_source)


def report_object(file: Path, report: Report, *, compared: bool = False) -> Mapping[str, Any]:
    """Return a verification as one JSON object; `compared` as in `report_lines`."""
    bus = None if report.bus is None else {"name": report.bus.name, "state": report.bus.state}
    signed = {
        "key": report.signed_by,
        "name": report.signed_name,
        "time": report.signed_time,
        "compared": compared,
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
        "bus": bus,
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
    return phrase("seal.not-known") if value_c is None else temperature(value_c, unit)
