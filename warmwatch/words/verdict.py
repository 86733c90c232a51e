"""The verdict in words: the same at the end of a watch, in the list of jobs and on paper."""

from collections.abc import Sequence

from warmwatch.core.band import Band
from warmwatch.core.level.check import Outcome
from warmwatch.core.level.verdict import LevelVerdict, Sign
from warmwatch.core.reading import MarkName
from warmwatch.core.units import from_c
from warmwatch.words.catalogue import mark_name, phrase
from warmwatch.words.events import band_text
from warmwatch.words.reasons import condition_name

SIGNS = {Sign.GOOD: "✔", Sign.REMARK: "!", Sign.BAD: "✘", Sign.OPEN: "?"}


def span_text(low_c: float, high_c: float, unit: str, band: Band | None = None) -> str:
    """Return `86 to 88 °C`, or `86 °C` where both are the same.

    With a band, as many decimals as it takes to see what lies beyond its edges.
    """
    ends = [from_c(value, unit) for value in (low_c, high_c)]
    digits = 1 if band is None else _digits_beyond(ends, band, unit)
    low, high = (round(value, digits) for value in ends)
    if low == high:
        return f"{low:.9g} °{unit}"
    return phrase("verdict.span", low=f"{low:.9g}", high=f"{high:.9g} °{unit}")


def _digits_beyond(ends: Sequence[float], band: Band, unit: str) -> int:
    low, high = from_c(band.low_c, unit), from_c(band.high_c, unit)
    for digits in range(1, 6):
        seen = [round(value, digits) for value in (ends[0], low, high, ends[1])]
        if (ends[0] >= low or seen[0] < seen[1]) and (ends[1] <= high or seen[3] > seen[2]):
            return digits
    return 6


def verdict_sentence(verdict: LevelVerdict, band: Band, unit: str) -> str:
    """Return in one sentence what was seen of the level."""
    result = verdict.outcome
    if result is Outcome.NO_CHECK:
        return phrase("verdict.no-check")
    if result is Outcome.NOT_KNOWN or verdict.low_c is None or verdict.high_c is None:
        done = "set" if verdict.is_set else "checked"
        return phrase(f"verdict.not-known-{done}", why=phrase(f"verdict.why-{verdict.why}"))
    until = MarkName.PLUG_IN if verdict.until is MarkName.PLUG_IN else MarkName.LEVEL_SET
    return phrase(
        f"verdict.{result}",
        span=span_text(verdict.low_c, verdict.high_c, unit, band),
        band=band_text(band, unit),
        until=phrase(f"verdict.until-{until}"),
    )


def verdict_remarks(verdict: LevelVerdict) -> list[str]:
    """Return what must stand beside the sentence, so that it does not say more than it knows."""
    remarks = []
    if verdict.flow is not None:
        remarks.append(phrase("verdict.last-flow", flow=phrase(f"verdict.flow-{verdict.flow}")))
    if verdict.is_set and verdict.after:
        marks = ", ".join(map(mark_name, verdict.after))
        remarks.append(phrase("verdict.after", marks=marks))
    if conditions := conditions_sentence(verdict):
        remarks.append(conditions)
    return remarks


def conditions_sentence(verdict: LevelVerdict) -> str:
    """Return the conditions summed up, what is not known by name; empty without a check."""
    if verdict.outcome is Outcome.NO_CHECK:
        return ""
    if not verdict.conditions:
        return phrase("verdict.conditions-not-known")
    parts = [
        phrase(f"verdict.{code}", names=", ".join(map(condition_name, names)))
        for code, names in (("unmet", verdict.unmet), ("unknown", verdict.unknown))
        if names
    ]
    if not parts:
        return phrase("verdict.all-met")
    if len(verdict.unmet) + len(verdict.unknown) < verdict.conditions:
        parts.append(phrase("verdict.others-met"))
    return " ".join(parts)


def verdict_lines(verdict: LevelVerdict, band: Band, unit: str) -> list[str]:
    """Return the verdict with its sign, and below it what must stand beside it."""
    first = f"{SIGNS[verdict.sign]} {verdict_sentence(verdict, band, unit)}"
    return [first, *(f"  {remark}" for remark in verdict_remarks(verdict))]
