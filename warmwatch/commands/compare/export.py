"""A comparison for other programs: one JSON object, or one row for each recording in it."""

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from warmwatch.analysis.many.frames import Note
from warmwatch.analysis.methods.comparison import Comparison, Difference, Group
from warmwatch.analysis.methods.figures import Piece, Run, rate_name
from warmwatch.analysis.methods.interval import Interval
from warmwatch.analysis.methods.single_run import within
from warmwatch.analysis.methods.stages import StageModel, StageRate
from warmwatch.errors import UsageError, WarmwatchError
from warmwatch.recording.rows import guard
from warmwatch.words.compare.notes import missing_text, note_text

FIGURES = (
    "start_c",
    "ambient_c",
    "span_min",
    "rate_span_c_per_min",
    "rate_model_c_per_min",
    "time_to_band_min",
    "window_min",
    "window_at_least_min",
    "overshoot_c",
    "plug_out_rate_c_per_min",
    "plug_out_range_c",
    "coolant_peak_c",
)
"""The columns of the table after the labels; then one for each rate at a temperature."""
TEXTS = ("recording", "digest", "vehicle", "method")
HOLDS = ("holds", "longest_hold_s", "holds_over_limit", "holds_without_rest")


def as_object(
    comparison: Comparison,
    runs: Sequence[Run],
    notes: Sequence[Note],
    sentences: Sequence[str],
    cautions: Sequence[str],
) -> dict[str, Any]:
    """Return the whole comparison as JSON values; temperatures in degC, times in minutes."""
    span, by_name = comparison.span, {run.name: run for run in runs}
    return {
        "by": comparison.by,
        "band": {"low_c": span.band.low_c, "high_c": span.band.high_c},
        "from_c": span.from_c,
        "to_c": span.to_c,
        "at_c": list(span.at_c),
        "methods": [_group_object(group) for group in comparison.groups],
        "differences": [_difference_object(one) for one in comparison.differences],
        "within": within_objects(within(runs)),
        "runs": [_run_object(piece, by_name[piece.run]) for piece in comparison.pieces],
        "notes": [{"recording": n.name, "text": note_text(n), "used": n.used} for n in notes],
        "sentences": list(sentences),
        "cautions": list(cautions),
    }


def _group_object(group: Group) -> dict[str, Any]:
    figures = {
        name: {
            "n": figure.n,
            "median": figure.median,
            "low": figure.low,
            "high": figure.high,
            "mean": dict(interval_object(figure.mean)),
        }
        for name, figure in group.figures.items()
    }
    return {
        "method": group.name,
        "n": group.n,
        "not_reached": group.not_reached,
        "figures": figures,
    }


def _difference_object(one: Difference) -> dict[str, Any]:
    found: dict[str, Any] = {
        "figure": one.figure,
        "a": one.a,
        "b": one.b,
        "n_a": one.n_a,
        "n_b": one.n_b,
        "too_few": one.too_few,
        "not_reached": one.censored,
        "unadjusted": dict(interval_object(one.plain)),
        "adjusted": None,
    }
    if one.adjusted is not None:
        found["adjusted"] = {
            **interval_object(one.adjusted.interval),
            "covariates": list(one.adjusted.covariates),
            "n": one.adjusted.n,
            "vehicles": one.adjusted.vehicles,
            "carried_by_the_line": list(one.adjusted.carried),
        }
    return found


def _run_object(piece: Piece, run: Run) -> dict[str, Any]:
    return {
        "recording": piece.run,
        "digest": run.digest,
        "vehicle": piece.vehicle,
        "method": piece.group,
        "made_for": {"low_c": run.made_for.low_c, "high_c": run.made_for.high_c},
        "figures": dict(piece.figures),
        "missing": {name: missing_text(why, "C") for name, why in piece.missing.items()},
        "notes": [missing_text(note, "C") for note in piece.notes],
        "gaps": len(run.features.gaps),
        **_holds(run),
    }


def _holds(run: Run) -> dict[str, float]:
    holds = run.features.holds
    values = (holds.count, holds.longest_s, holds.over_limit, holds.rest_missing)
    return dict(zip(HOLDS, values, strict=True))


def columns(comparison: Comparison) -> list[str]:
    """Return the columns of the table."""
    rates = [rate_name(level) for level in comparison.span.at_c]
    return [*TEXTS, *FIGURES, *rates, *HOLDS, "missing", "notes"]


def rows(comparison: Comparison, runs: Sequence[Run]) -> list[dict[str, Any]]:
    """Return one row for each recording (or phase of one); what is not known is None."""
    by_name = {run.name: run for run in runs}
    wanted = columns(comparison)
    found = []
    for piece in comparison.pieces:
        run = by_name[piece.run]
        whys = {name: missing_text(why, "C") for name, why in piece.missing.items()}
        missing = "; ".join(f"{name}: {why}" for name, why in whys.items())
        labels = dict(zip(TEXTS, (piece.run, run.digest, piece.vehicle, piece.group), strict=True))
        row: dict[str, Any] = {
            **labels,
            **piece.figures,
            **_holds(run),
            "missing": missing,
            "notes": "; ".join(missing_text(note, "C") for note in piece.notes),
        }
        found.append({name: row.get(name) for name in wanted})
    return found


def csv_text(comparison: Comparison, runs: Sequence[Run]) -> str:
    """Return the table as CSV (RFC 4180), texts made safe for spreadsheets."""
    out = io.StringIO()
    writer = csv.DictWriter(out, columns(comparison), lineterminator="\r\n")
    writer.writeheader()
    for row in rows(comparison, runs):
        writer.writerow({k: guard(v) if isinstance(v, str) else v for k, v in row.items()})
    return out.getvalue()


def write_csv(path: Path, comparison: Comparison, runs: Sequence[Run]) -> None:
    """Write the table as CSV."""
    begins = ",".join((*TEXTS, *FIGURES)).encode()
    write_bytes(path, csv_text(comparison, runs).encode("utf-8"), begins)


def write_parquet(path: Path, comparison: Comparison, runs: Sequence[Run]) -> None:
    """Write the table as Parquet; UsageError when the library for it is not installed."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise UsageError(
            "Parquet needs one more library: pip install 'warmwatch[parquet]'."
        ) from None
    found = rows(comparison, runs)
    texts = {*TEXTS, "missing", "notes"}
    arrays = {
        name: pa.array([row[name] for row in found], pa.string() if name in texts else pa.float64())
        for name in columns(comparison)
    }
    sink = pa.BufferOutputStream()
    pq.write_table(pa.table(arrays), sink)
    write_bytes(path, sink.getvalue().to_pybytes(), b"PAR1")


def write_bytes(path: Path, data: bytes, begins: bytes) -> None:
    """Write a result over nothing but an earlier one, which begins with `begins`."""
    try:
        if path.exists():
            with path.open("rb") as file:
                first = file.read(len(begins))
            if first and first != begins:
                raise UsageError(
                    f"{path} is there already and is something else: give another name."
                )
        path.write_bytes(data)
    except OSError as error:
        raise WarmwatchError(f"Cannot write {path} ({error.strerror or error}).") from None


def within_objects(found: Sequence[tuple[Run, StageModel, StageModel]]) -> list[dict[str, Any]]:
    """Return the same as JSON values, degC and minutes."""
    return [
        {
            "recording": run.name,
            "at_c": met.at_c,
            "loss_per_min": interval_object(met.loss_per_min),
            "stages": [_stage_object(rate) for rate in met.rates],
            "differences": [
                {"a": a, "b": b, **interval_object(interval)} for a, b, interval in met.differences
            ],
            "mid_band_c": inside.at_c,
            "mid_band_rates": {rate.kind: interval_object(rate.rate) for rate in inside.rates},
        }
        for run, met, inside in found
    ]


def _stage_object(rate: StageRate) -> dict[str, Any]:
    return {
        "phase": rate.kind,
        "blocks": rate.blocks,
        "seen_low_c": rate.seen_low_c,
        "seen_high_c": rate.seen_high_c,
        "carried": rate.carried,
        "rate_c_per_min": interval_object(rate.rate),
    }


def interval_object(interval: Interval | None) -> Mapping[str, Any]:
    """Return an interval as JSON values; an end that is not known is null."""
    if interval is None:
        return {"estimate": None, "low": None, "high": None, "interval": "none", "df": None}
    low, high = (
        value if abs(value) < float("inf") else None for value in (interval.low, interval.high)
    )
    return {
        "estimate": interval.estimate,
        "low": low,
        "high": high,
        "interval": interval.how,
        "df": interval.df,
    }
