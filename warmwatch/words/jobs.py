"""The recordings of a folder as `warmwatch jobs` lists them."""

from collections.abc import Iterator, Sequence

from warmwatch.core.level.verdict import together
from warmwatch.recording.jobs import Listed
from warmwatch.recording.rows import utc_seconds
from warmwatch.words.catalogue import clock, has, phrase
from warmwatch.words.events import band_text
from warmwatch.words.verdict import verdict_lines


def visit_lines(visit: Sequence[Listed], unit: str | None) -> Iterator[str]:
    """Yield a visit: its recordings, oldest first, and below them the one verdict."""
    for one in visit:
        yield line(one, unit)
    last = visit[-1]
    verdicts = [one.verdict for one in visit if one.verdict is not None]
    if verdicts and last.band is not None:
        verdict = together(verdicts)
        yield from (f"    {text}" for text in verdict_lines(verdict, last.band, unit or last.unit))
    for one in visit:
        if why := trouble_text(one):
            yield phrase("jobs.trouble", file=one.path.name, why=why)


def line(one: Listed, unit: str | None) -> str:
    """Return one recording as a line."""
    labels = ", ".join(label for label in (one.vehicle, one.method) if label)
    return phrase(
        "jobs.line",
        when=_when(one),
        labels=labels or phrase("jobs.no-label"),
        band="" if one.band is None else f", {band_text(one.band, unit or one.unit)}",
        length="" if one.length_s is None else f", {clock(one.length_s)}",
        file=one.path.name,
    )


def _when(one: Listed) -> str:
    utc_s = utc_seconds(one.time)
    if utc_s is None:
        return phrase("jobs.no-time")
    written = one.zone.text(utc_s)
    return phrase("jobs.undated", written=written) if one.undated else written


def trouble_text(one: Listed) -> str:
    """Return why it cannot be said what a recording shows; empty where it can."""
    code = f"jobs.{one.trouble}"
    return phrase(code) if has(code) else one.trouble
