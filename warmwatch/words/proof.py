"""The sentences of proof, verify and jobs."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from warmwatch.core.band import Band
from warmwatch.core.level.check import Check, Outcome, outcome
from warmwatch.core.level.conditions import Condition, ConditionState
from warmwatch.core.units import from_c
from warmwatch.recording.seal.report import Report, SealState
from warmwatch.words.events import band_text, temperature
from warmwatch.words.reasons import condition_name

PROVES = (
    "A good digest chain shows that the recording is as warmwatch wrote it; a good signature also "
    "that nobody without the key altered it afterwards. Neither shows that the sensor told the "
    "truth, nor that the marks were set at the right moment."
)
_OUTCOMES = {
    Outcome.SET_INSIDE: "level set inside the band",
    Outcome.SET_OUTSIDE: "level set, but OUTSIDE the band",
    Outcome.CHECKED_INSIDE: "plug out and in inside the band, not told that the level was set",
    Outcome.CHECKED_OUTSIDE: "plug out and in, OUTSIDE the band",
    Outcome.NOT_KNOWN: "cannot be said",
    Outcome.NO_CHECK: "no level check",
}


def outcome_word(word: str) -> str:
    """Return an outcome as it stands in a closing row, in words."""
    return _OUTCOMES[Outcome(word)] if word in set(Outcome) else "not told"


def span_text(low_c: float, high_c: float, unit: str, band: Band | None = None) -> str:
    """Return `86 to 88 °C`, or `86 °C` where both are the same.

    With a band, as many decimals as it takes to see what lies beyond its edges.
    """
    ends = [from_c(value, unit) for value in (low_c, high_c)]
    digits = 1 if band is None else _digits_beyond(ends, band, unit)
    low, high = (round(value, digits) for value in ends)
    return f"{low:.9g} °{unit}" if low == high else f"{low:.9g} to {high:.9g} °{unit}"


def _digits_beyond(ends: Sequence[float], band: Band, unit: str) -> int:
    low, high = from_c(band.low_c, unit), from_c(band.high_c, unit)
    for digits in range(1, 6):
        seen = [round(value, digits) for value in (ends[0], low, high, ends[1])]
        if (ends[0] >= low or seen[0] < seen[1]) and (ends[1] <= high or seen[3] > seen[2]):
            return digits
    return 6


def verdict(check: Check | None, band: Band, unit: str) -> str:
    """Return in one sentence what the recording shows about the level."""
    result, wanted = outcome(check, band), band_text(band, unit)
    if check is None or result is Outcome.NO_CHECK:
        return "No level check was recorded: no plug out was marked, other than for draining."
    if result is Outcome.NOT_KNOWN or check.min_c is None or check.max_c is None:
        done = "checked" if check.set_s is None else "set"
        why = _why_not_known(check)
        return f"It cannot be said at what temperature the level was {done}: {why}."
    span = span_text(check.min_c, check.max_c, unit, band)
    until = "plug in" if check.in_s is not None else "the mark that the level was set"
    if result is Outcome.SET_INSIDE:
        return f"Level set with the fluid at {span}, inside {wanted}, from plug out to {until}."
    if result is Outcome.SET_OUTSIDE:
        return (
            f"Level set, but NOT inside {wanted}: the fluid was at {span} from plug out to {until}."
        )
    inside = "inside" if result is Outcome.CHECKED_INSIDE else "NOT inside"
    return (
        f"The fluid was at {span}, {inside} {wanted}, from plug out to {until}; "
        "that the level was set was not recorded."
    )


def _why_not_known(check: Check) -> str:
    if check.lost:
        return "the temperature was not known, for a time, while the plug was out"
    if check.end_s is None:
        return "it was not recorded that the plug went in again"
    return "there was no reading while the plug was out"


def conditions_sentence(conditions: Sequence[Condition]) -> str:
    """Return the conditions summed up; what is not known is named as such."""
    unmet = [condition_name(c.name) for c in conditions if c.state is ConditionState.NOT_MET]
    unknown = [condition_name(c.name) for c in conditions if c.state is ConditionState.UNKNOWN]
    if not conditions:
        return "The conditions of the check are not known."
    parts = []
    if unmet:
        parts.append(f"Conditions NOT MET: {', '.join(unmet)}.")
    if unknown:
        parts.append(f"Not known: {', '.join(unknown)}.")
    if not parts:
        return "All conditions were met for the whole time with the plug out."
    if len(unmet) + len(unknown) < len(conditions):
        parts.append("The others were met for the whole time with the plug out.")
    return " ".join(parts)


def report_lines(file: Path, report: Report) -> list[str]:
    """Return a verification for people."""
    where = f" at row {report.row}" if report.row is not None else ""
    lines = [f"{file.name}: {_STATES[report.state]}{where}."]
    if report.reason:
        lines.append(f"  {report.reason[0].upper()}{report.reason[1:]}.")
    if report.state is SealState.INTACT:
        lines.append(f"  {report.rows} rows; events worked out again: {report.events}.")
        lines.append(f"  It shows: {outcome_word(report.outcome)}.")
    if report.checkpoint:
        lines.append(f"  {report.checkpoint[0].upper()}{report.checkpoint[1:]}.")
    if report.inside:
        lines.append(f"  {report.inside}")
    if report.signed_by:
        name = f" ({report.signed_name})" if report.signed_name else ""
        when = f" on {report.signed_time}" if report.signed_time else ""
        lines.append(f"  Signed by key {report.signed_by}{name}{when}.")
    elif report.state in (SealState.INTACT, SealState.OTHER_VERSION):
        lines.append("  Not signed: somebody who knows the format could have written it anew.")
    return [*lines, f"  {PROVES}"]


_STATES = {
    SealState.INTACT: "intact",
    SealState.CHANGED: "CHANGED",
    SealState.TORN: "TORN at the end",
    SealState.NEVER_CLOSED: "whole as far as it goes, but never closed",
    SealState.OTHER_KEY: "NOT SIGNED BY THAT KEY",
    SealState.OTHER_VERSION: "whole, but its events are not checked",
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
        "inside": report.inside or None,
        "checkpoint": report.checkpoint or None,
        "signature": signed if report.signed_by else None,
    }


def temperature_or_unknown(value_c: float | None, unit: str) -> str:
    """Return a temperature, or `not known`."""
    return "not known" if value_c is None else temperature(value_c, unit)
