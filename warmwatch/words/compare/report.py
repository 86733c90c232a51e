"""The whole text of a comparison: sentences first, then the table, then all notes."""

import textwrap
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from warmwatch.analysis.many.frames import Note
from warmwatch.analysis.many.runs import Loaded
from warmwatch.analysis.methods.comparison import Comparison
from warmwatch.analysis.methods.single_run import within
from warmwatch.errors import printable
from warmwatch.words.catalogue import counted, phrase, temperature
from warmwatch.words.compare.notes import differences_table, note_text
from warmwatch.words.compare.sentences import runs_text
from warmwatch.words.compare.single_run import within_sentences
from warmwatch.words.compare.table import table
from warmwatch.words.events import band_text

NOTES_SHOWN = 20
NAMES_SHOWN = 3


@dataclass(frozen=True, slots=True)
class Result:
    """A comparison with all that is to be told beside it."""

    comparison: Comparison
    loaded: Loaded
    notes: tuple[Note, ...]
    sentences: tuple[str, ...]
    cautions: tuple[str, ...]


def report(result: Result, unit: str, width: int, *, drawn: bool = False) -> list[str]:
    """Return the whole text of a comparison; `drawn` says that there is a picture of it."""
    comparison, loaded = result.comparison, result.loaded
    lines = [*loaded.invented, _head(result, unit)]
    lines += _section(_wrapped(result.sentences, width))
    by_itself = within_sentences(
        within(loaded.runs), comparison.span.band, unit, compared=len(loaded.runs)
    )
    lines += _section(_wrapped(by_itself, width))
    lines += _section(table(comparison, unit, width))
    lines.append(phrase("table.legend"))
    lines += _section(differences_table(comparison, unit))
    lines += _section(_wrapped(_holds(loaded), width))
    lines += _section(_wrapped(_cautions(result), width))
    lines += _section(_wrapped(_notes(result.notes), width))
    plot = "" if drawn else phrase("report.next-plot")
    lines += ["", phrase("report.next", plot=plot)]
    return [printable(line) for line in lines]


def _wrapped(lines: Sequence[str], width: int) -> list[str]:
    """Break long lines between words, what follows indented."""
    return [
        part
        for line in lines
        for part in textwrap.wrap(
            line, width, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
        )
    ]


def _section(lines: Sequence[str]) -> list[str]:
    return ["", *lines] if lines else []


def _head(result: Result, unit: str) -> str:
    span, loaded = result.comparison.span, result.loaded
    known = span.from_c is not None and span.to_c is not None
    return phrase(
        f"report.head{'' if known else '-no-span'}",
        found=loaded.found,
        used=len(loaded.runs),
        band=band_text(span.band, unit),
        low="" if span.from_c is None else temperature(span.from_c, unit),
        high="" if span.to_c is None else temperature(span.to_c, unit),
    )


def _holds(loaded: Loaded) -> list[str]:
    holding = [run.features.holds for run in loaded.runs if run.features.holds.count]
    if not holding:
        return []
    counts: Counter[str] = Counter()
    for holds in holding:
        counts.update(n=holds.count, over=holds.over_limit, short=holds.rest_missing)
    longest_s = max(holds.longest_s for holds in holding)
    over = counted("report.over", counts["over"]) if counts["over"] else phrase("report.over-none")
    return [
        phrase(
            "report.holds",
            n=counts["n"],
            runs=runs_text(len(holding)),
            longest=f"{longest_s:.1f}",
            over=over,
            short=str(counts["short"] or phrase("report.none")),
        )
    ]


def _cautions(result: Result) -> list[str]:
    if not result.cautions:
        return []
    first, *others = result.cautions
    return [phrase("report.caution", text=first), *(f"  - {caution}" for caution in others)]


def _notes(notes: Sequence[Note]) -> list[str]:
    lines = []
    for used, head in ((False, "left-out"), (True, "used")):
        chosen = [note for note in notes if note.used is used]
        if chosen:
            lines.append(phrase(f"report.{head}"))
            together = gathered(chosen)
            lines += together[:NOTES_SHOWN]
            if len(together) > NOTES_SHOWN:
                lines.append(phrase("report.more-lines", n=len(together) - NOTES_SHOWN))
    return lines


def gathered(notes: Sequence[Note], unit: str = "C") -> list[str]:
    """Return one line for each text, with the names it is said of."""
    names: dict[str, list[str]] = {}
    for note in notes:
        names.setdefault(note_text(note, unit), []).append(note.name)
    return [
        phrase("report.note", names=_few_names(sorted(found)), text=text)
        for text, found in names.items()
    ]


def _few_names(names: Sequence[str]) -> str:
    if len(names) <= NAMES_SHOWN:
        return ", ".join(names)
    first = ", ".join(names[: NAMES_SHOWN - 1])
    return phrase("report.more-names", names=first, n=len(names) - NAMES_SHOWN + 1)
