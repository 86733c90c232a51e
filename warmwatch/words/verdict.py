"""The verdict in words: the same at the end of a watch, in the list of jobs and on paper."""

from collections.abc import Sequence

from warmwatch.core.band import Band
from warmwatch.core.level.check import Outcome
from warmwatch.core.level.conditions import ConditionName
from warmwatch.core.level.verdict import LevelVerdict, Sign
from warmwatch.core.reading import MarkName
from warmwatch.core.units import from_c
from warmwatch.words.events import band_text
from warmwatch.words.reasons import condition_name

SIGNS = {Sign.GOOD: "✔", Sign.REMARK: "!", Sign.BAD: "✘", Sign.OPEN: "?"}
_MARKS = {
    MarkName.STREAM: "a stream",
    MarkName.NO_DRIP: "no drip",
    MarkName.DRAINED: "drained",
    MarkName.FILLED: "filled",
    MarkName.TOPPED_UP: "topped up",
}


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


def verdict_sentence(verdict: LevelVerdict, band: Band, unit: str) -> str:
    """Return in one sentence what was seen of the level."""
    result, wanted = verdict.outcome, band_text(band, unit)
    if result is Outcome.NO_CHECK:
        return "No level check was recorded: no plug out was marked, other than for draining."
    if result is Outcome.NOT_KNOWN or verdict.low_c is None or verdict.high_c is None:
        done = "set" if verdict.is_set else "checked"
        return f"It cannot be said at what temperature the level was {done}: {_WHY[verdict.why]}."
    span = span_text(verdict.low_c, verdict.high_c, unit, band)
    plugged = verdict.until is MarkName.PLUG_IN
    until = "plug in" if plugged else "the mark that the level was set"
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


_WHY = {
    "lost": "the temperature was not known, for a time, while the plug was out",
    "open": "it was not recorded that the plug went in again",
    "no-reading": "there was no reading while the plug was out",
    "": "what was recorded of the check is not complete",
}


def verdict_remarks(verdict: LevelVerdict) -> list[str]:
    """Return what must stand beside the sentence, so that it does not say more than it knows."""
    remarks = []
    if verdict.flow is not None:
        remarks.append(f"The last thing told of the open plug was {_MARKS[verdict.flow]}.")
    if verdict.is_set and verdict.after:
        marks = ", ".join(_MARKS[name] for name in verdict.after)
        remarks.append(f"Marked after this check: {marks}.")
    if conditions := conditions_sentence(verdict):
        remarks.append(conditions)
    return remarks


def conditions_sentence(verdict: LevelVerdict) -> str:
    """Return the conditions summed up, what is not known by name; empty without a check."""
    if verdict.outcome is Outcome.NO_CHECK:
        return ""
    if not verdict.conditions:
        return "The conditions of the check are not known."
    parts = []
    if verdict.unmet:
        parts.append(f"Conditions NOT MET: {_names(verdict.unmet)}.")
    if verdict.unknown:
        parts.append(f"Not known: {_names(verdict.unknown)}.")
    if not parts:
        return "All conditions were met for the whole time with the plug out."
    if len(verdict.unmet) + len(verdict.unknown) < verdict.conditions:
        parts.append("The others were met for the whole time with the plug out.")
    return " ".join(parts)


def _names(names: Sequence[ConditionName]) -> str:
    return ", ".join(condition_name(name) for name in names)


def verdict_lines(verdict: LevelVerdict, band: Band, unit: str) -> list[str]:
    """Return the verdict with its sign, and below it what must stand beside it."""
    first = f"{SIGNS[verdict.sign]} {verdict_sentence(verdict, band, unit)}"
    return [first, *(f"  {remark}" for remark in verdict_remarks(verdict))]
