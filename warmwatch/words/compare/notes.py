"""What has to be told beside a comparison: which recording lacks what, and how sure it is."""

import re
from collections import Counter
from collections.abc import Sequence

from warmwatch.analysis.many.frames import Note
from warmwatch.analysis.many.runs import Loaded
from warmwatch.analysis.methods.comparison import Comparison, Difference
from warmwatch.analysis.methods.figures import Piece
from warmwatch.analysis.methods.interval import Interval
from warmwatch.core.units import from_c
from warmwatch.words.compare.rows import MINUTES, RATE, figure_rows
from warmwatch.words.events import band_text

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
_CELSIUS = re.compile(r"(-?\d+(?:\.\d)?)(?:( °C)|(?= to -?\d+ °C))")
_COVARIATES = {"start_c": "start temperature", "ambient_c": "ambient temperature"}


def comparison_notes(loaded: Loaded, comparison: Comparison, unit: str) -> list[Note]:
    """Return what is to be known about recordings that are used."""
    notes = [
        Note(
            run.name,
            f"was made for {band_text(run.made_for, unit)}; judged here by "
            f"{band_text(comparison.span.band, unit)}",
            used=True,
        )
        for run in loaded.runs
        if run.made_for != comparison.span.band
    ]
    notes += [
        Note(run.name, "has no method label; set one with --label PATTERN=METHOD", used=True)
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
            f"{len(vehicles)} vehicles",
            "the plain figures mix them; the adjusted differences compare within each vehicle; "
            "--vehicle LABEL chooses one",
            used=True,
        )
    ]


def _never_in_one_vehicle(comparison: Comparison) -> list[Note]:
    """Tell of methods that no vehicle was recorded with both: vehicles may be what differs."""
    seen: dict[str, set[str]] = {}
    for piece in comparison.pieces:
        seen.setdefault(piece.group, set()).add(piece.vehicle)
    pairs = dict.fromkeys((one.a, one.b) for one in comparison.differences)
    text = "no vehicle was recorded with both: what differs may be the vehicles"
    return [Note(f"{a} and {b}", text, used=True) for a, b in pairs if not seen[a] & seen[b]]


def _piece_notes(piece: Piece, comparison: Comparison, unit: str) -> list[Note]:
    words = {name: text for name, text, _ in figure_rows(comparison.span, unit)}
    together: dict[str, list[str]] = {}
    for name in NOTED_FIGURES:
        if name in piece.missing:
            together.setdefault(piece.missing[name], []).append(words[name])
    missing = [
        Note(piece.run, f"not in {_listed(names)}: {in_unit(why, unit)}", used=True)
        for why, names in together.items()
    ]
    return [*missing, *(Note(piece.run, in_unit(note, unit), used=True) for note in piece.notes)]


def in_unit(text: str, unit: str) -> str:
    """Return a reason with its temperatures in the unit of show, in whole degrees.

    >>> in_unit("did not reach 80 °C", "F")
    'did not reach 176 °F'
    """
    if unit == "C":
        return text
    return _CELSIUS.sub(
        lambda found: f"{from_c(float(found[1]), unit):.0f}{' °F' if found[2] else ''}", text
    )


def _listed(names: Sequence[str]) -> str:
    return " and ".join(f'"{name}"' for name in names)


def _carried(comparison: Comparison) -> list[Note]:
    found: dict[tuple[str, str, str], None] = {}
    for one in comparison.differences:
        if one.adjusted is not None:
            for name in one.adjusted.carried:
                found[one.a, one.b, name] = None
    return [
        Note(
            f"{a} and {b}",
            f"no {_COVARIATES[name]} was seen with both: the adjusted difference rests on a "
            "straight line between them",
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
            lines.append(f"{words}, {kind.format(unit=unit)}: mean difference (95 % interval)")
            lines += _difference_lines(rows, kind, unit)
    if lines:
        lines.append(
            "Adjusted: for start and ambient temperature by a straight line, within each vehicle."
        )
    if len({(one.a, one.b) for one in comparison.differences}) >= MANY_PAIRS:
        lines.append(
            "Of twenty such intervals about one misses by chance: --against METHOD asks for fewer."
        )
    return lines


def _difference_lines(rows: Sequence[Difference], kind: str, unit: str) -> list[str]:
    heads = [f"  {one.a} less {one.b}" for one in rows]
    plain = [_shown(one.plain, kind, unit) for one in rows]
    width, middle = max(map(len, heads)), max(map(len, plain))
    return [
        f"{head:<{width}}  {_shown(one.plain, kind, unit):<{middle}}"
        f"  adjusted {_adjusted(one, kind, unit)}{_few(one)}"
        for head, one in zip(heads, rows, strict=True)
    ]


def _adjusted(one: Difference, kind: str, unit: str) -> str:
    return "not possible" if one.adjusted is None else _shown(one.adjusted.interval, kind, unit)


def _few(one: Difference) -> str:
    return f"  too few: {one.n_a} and {one.n_b} runs" if one.too_few else ""


def _shown(interval: Interval | None, kind: str, unit: str) -> str:
    if interval is None:
        return ""
    scale = 1.8 if unit == "F" and kind != MINUTES else 1.0
    low, middle, high = (
        f"{value * scale:+.{2 if kind == RATE else 1}f}"
        for value in (interval.low, interval.estimate, interval.high)
    )
    known = abs(interval.low) < float("inf")
    return f"{middle} ({low} to {high})" if known else f"{middle} (the runs are all alike)"
