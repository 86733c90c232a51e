"""What has to be told beside a comparison: which recording lacks what, and how sure it is."""

from collections import Counter
from collections.abc import Sequence

from warmwatch.analysis.many.frames import Note
from warmwatch.analysis.many.runs import Loaded
from warmwatch.analysis.methods.comparison import Comparison, Difference
from warmwatch.analysis.methods.figures import CARRIED, GAP, Piece
from warmwatch.analysis.methods.interval import Interval
from warmwatch.core.reason import Reason
from warmwatch.words.catalogue import figure, has, joined, phrase, whole_degrees
from warmwatch.words.compare.rows import MINUTES, RATE, figure_rows, kind_text
from warmwatch.words.events import band_text
from warmwatch.words.reasons import reason_text

NOTED_FIGURES = ("time_to_band_min", "span_min", "window_min")
"""The figures whose missing runs are told in the text; all are in --json and the tables."""
SHOWN_DIFFERENCES = (
    "time_to_band_min",
    "rate_span_c_per_min",
    "rate_model_c_per_min",
    "window_min",
)
MANY_PAIRS = 5
"""With so many pairs a miss by chance is likely among them, and is told."""


def comparison_notes(loaded: Loaded, comparison: Comparison, unit: str) -> list[Note]:
    """Return the notes about recordings that are used."""
    band = band_text(comparison.span.band, unit)
    notes = [
        Note(
            run.name,
            phrase("note.made-for", made=band_text(run.made_for, unit), band=band),
            used=True,
        )
        for run in loaded.runs
        if run.made_for != comparison.span.band
    ]
    notes += [
        Note(run.name, phrase("note.no-label"), used=True)
        for run in loaded.runs
        if not run.method.strip()
    ]
    notes += [*_vehicles(loaded), *_never_in_one_vehicle(comparison)]
    notes += [note for piece in comparison.pieces for note in _piece_notes(piece, comparison, unit)]
    return notes + _carried(comparison)


def _vehicles(loaded: Loaded) -> list[Note]:
    vehicles = Counter(run.vehicle for run in loaded.runs)
    if len(vehicles) < 2:
        return []
    return [
        Note(
            phrase("note.vehicles", n=len(vehicles)),
            phrase("note.mixed"),
            used=True,
        )
    ]


def _never_in_one_vehicle(comparison: Comparison) -> list[Note]:
    """Tell of methods that no vehicle was recorded with both: vehicles may be what differs."""
    seen: dict[str, set[str]] = {}
    for piece in comparison.pieces:
        seen.setdefault(piece.group, set()).add(piece.vehicle)
    pairs = dict.fromkeys((one.a, one.b) for one in comparison.differences)
    text = phrase("note.never-both")
    return [Note(joined([a, b]), text, used=True) for a, b in pairs if not seen[a] & seen[b]]


def _piece_notes(piece: Piece, comparison: Comparison, unit: str) -> list[Note]:
    words = {name: text for name, text, _ in figure_rows(comparison.span, unit)}
    together: dict[Reason, list[str]] = {}
    for name in NOTED_FIGURES:
        if name in piece.missing:
            together.setdefault(piece.missing[name], []).append(words[name])
    missing = [
        Note(
            piece.run,
            phrase("note.not-in", names=_listed(names), why=missing_text(why, unit)),
            used=True,
        )
        for why, names in together.items()
    ]
    return [
        *missing,
        *(Note(piece.run, missing_text(note, unit), used=True) for note in piece.notes),
    ]


def missing_text(why: Reason, unit: str) -> str:
    """Return why a figure is missing, or what to note about it."""
    values = {name.removesuffix("_c"): _figure(name, v, unit) for name, v in why.figures.items()}
    if (cause := why.code.removeprefix(GAP)) != why.code:
        code = f"missing.gap-{cause}"
        gap = phrase(code) if has(code) else reason_text(Reason(cause), unit)
        return phrase("missing.gap-unknown", why=gap)
    if (phase := why.code.removeprefix(CARRIED)) != why.code:
        values["low"] = values["low"].split(" ")[0]
        return phrase("missing.carried", phase=phrase(f"compare.phase-{phase}"), **values)
    code = f"missing.{why.code}"
    return phrase(code, **values) if has(code) else reason_text(why, unit)


def _figure(name: str, value: float, unit: str) -> str:
    """Return a figure with its unit; a temperature in °F, which was not measured so, is whole."""
    whole = name.endswith("_c") and unit == "F"
    return whole_degrees(value, unit) if whole else figure(name, value, unit)


def note_text(note: Note, unit: str = "C") -> str:
    """Return what is to be told of a recording; what is no code is an error's own sentence."""
    reason = Reason.parse(note.why)
    code = f"note.{reason.code}"
    if not has(code):
        return note.why
    return phrase(code, unit, **reason.figures, **note.about)


def _listed(names: Sequence[str]) -> str:
    return joined([f'"{name}"' for name in names])


def _carried(comparison: Comparison) -> list[Note]:
    found: dict[tuple[str, str, str], None] = {}
    for one in comparison.differences:
        if one.adjusted is not None:
            for name in one.adjusted.carried:
                found[one.a, one.b, name] = None
    return [
        Note(
            joined([a, b]),
            phrase("note.carried", what=phrase(f"note.{name}")),
            used=True,
        )
        for a, b, name in found
    ]


def differences_table(comparison: Comparison, unit: str) -> list[str]:
    """Return the differences with their intervals, as recorded and adjusted."""
    lines: list[str] = []
    for name, words, kind in figure_rows(comparison.span, unit):
        rows = [
            one
            for one in comparison.differences
            if one.figure == name and name in SHOWN_DIFFERENCES and one.plain is not None
        ]
        if rows:
            shown = kind_text(kind, unit)
            lines.append(phrase("differences.head", words=words, kind=shown))
            lines += _difference_lines(rows, kind, unit)
    if lines:
        lines.append(phrase("differences.how"))
    if len({(one.a, one.b) for one in comparison.differences}) >= MANY_PAIRS:
        lines.append(phrase("differences.many"))
    return lines


def _difference_lines(rows: Sequence[Difference], kind: str, unit: str) -> list[str]:
    heads = [phrase("differences.line", a=one.a, b=one.b) for one in rows]
    plain = [_shown(one.plain, kind, unit) for one in rows]
    width, middle = max(map(len, heads)), max(map(len, plain))
    return [
        f"{head:<{width}}  {_shown(one.plain, kind, unit):<{middle}}"
        + phrase("differences.adjusted", interval=_adjusted(one, kind, unit), few=_few(one))
        for head, one in zip(heads, rows, strict=True)
    ]


def _adjusted(one: Difference, kind: str, unit: str) -> str:
    return (
        phrase("differences.not-possible")
        if one.adjusted is None
        else _shown(one.adjusted.interval, kind, unit)
    )


def _few(one: Difference) -> str:
    return phrase("differences.few", a=one.n_a, b=one.n_b) if one.too_few else ""


def _shown(interval: Interval | None, kind: str, unit: str) -> str:
    if interval is None:
        return ""
    scale = 1.8 if unit == "F" and kind != MINUTES else 1.0
    low, middle, high = (
        f"{value * scale:+.{2 if kind == RATE else 1}f}"
        for value in (interval.low, interval.estimate, interval.high)
    )
    known = abs(interval.low) < float("inf")
    code = "interval" if known else "alike"
    return phrase(f"differences.{code}", low=low, middle=middle, high=high)
