"""The figures of one recording that are compared, and why a figure is missing.

A figure is missing rather than extrapolated: each missing one carries its reason.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from warmwatch.analysis.methods.run import RunFeatures, Stage
from warmwatch.analysis.methods.stages import SETTLE_S, stage_model
from warmwatch.core.band import Band
from warmwatch.core.reason import Reason

RATE_HALF_C = 3
"""A rate at a temperature is the mean rate from so much below it to so much above it."""
PHASES = ("idle", "driving", "loaded")
NO_LABEL = "(no label)"
GAP, CARRIED = "gap-unknown-", "carried-"
"""Beginnings of reasons: what made the gap, or the phase whose rate was carried, follows."""


@dataclass(frozen=True, slots=True)
class Run:
    """One recording to be compared; `made_for` is the band it was recorded for."""

    name: str
    digest: str
    vehicle: str
    method: str
    made_for: Band
    features: RunFeatures


@dataclass(frozen=True, slots=True)
class Span:
    """What is compared: the band, the common start and end in whole degC, and rate levels.

    `from_c` and `to_c` are None when the recordings have no span in common.
    """

    band: Band
    from_c: int | None
    to_c: int | None
    at_c: tuple[int, ...]

    @property
    def model_c(self) -> float | None:
        """Where the piecewise model compares stages: the middle of the common span."""
        if self.from_c is None or self.to_c is None:
            return None
        return float(round((self.from_c + self.to_c) / 2))


@dataclass(frozen=True, slots=True)
class Piece:
    """A run, or one phase of it, as a member of a group.

    `figures` holds what is known, `missing` why each other figure is not; `notes` what should be
    known about a figure that is used.
    """

    group: str
    run: str
    vehicle: str
    start_c: float
    ambient_c: float | None
    figures: Mapping[str, float]
    missing: Mapping[str, Reason]
    notes: tuple[Reason, ...] = ()


def label(run: Run) -> str:
    """Return the group name of a run's method: spaces and capitals make no difference."""
    return " ".join(run.method.split()).casefold() or NO_LABEL


class _Found:
    """Collects figures and the reasons of missing ones."""

    def __init__(self) -> None:
        self.figures: dict[str, float] = {}
        self.missing: dict[str, Reason] = {}
        self.notes: list[Reason] = []

    def put(self, name: str, value: float | None, why: Reason | None = None) -> None:
        if value is None or not math.isfinite(value):
            self.missing[name] = why or _NOT_SEEN
        else:
            self.figures[name] = round(value, 6)


def run_piece(run: Run, span: Span) -> Piece:
    """Return a whole recording as a member of its method."""
    found = _Found()
    _times(found, run.features, span)
    for level in span.at_c:
        rate, why = rate_at(run.features, level, None)
        found.put(rate_name(level), rate, why)
    _after_entry(found, run.features, span.band)
    features = run.features
    found.put("coolant_peak_c", features.coolant_peak_c, Reason("coolant-not-read"))
    found.put("ambient_c", features.ambient_c, Reason("ambient-not-read"))
    found.put("start_c", features.start_c)
    return _piece(label(run), run, found)


def phase_pieces(run: Run, span: Span, *, with_method: bool) -> list[Piece]:
    """Return each phase of a recording as a member of its group."""
    pieces = []
    for kind in PHASES:
        stages = settled_stages(run.features.stages, kind)
        if not stages:
            continue
        found = _Found()
        for level in span.at_c:
            rate, why = rate_at(run.features, level, stages)
            found.put(rate_name(level), rate, why)
        _model_rate(found, run.features, kind, span.model_c)
        found.put("ambient_c", run.features.ambient_c, Reason("ambient-not-read"))
        found.put("start_c", run.features.start_c)
        group = f"{label(run)}: {kind}" if with_method else kind
        pieces.append(_piece(group, run, found))
    return pieces


def _piece(group: str, run: Run, found: _Found) -> Piece:
    features = run.features
    return Piece(
        group,
        run.name,
        run.vehicle,
        features.start_c,
        features.ambient_c,
        found.figures,
        found.missing,
        tuple(dict.fromkeys(found.notes)),
    )


def rate_name(level_c: int) -> str:
    """Return the name of the rate at a temperature, such as `rate_at_70_c_per_min`."""
    return f"rate_at_{level_c}_c_per_min"


def settled_stages(stages: Sequence[Stage], kind: str) -> list[Stage]:
    """Return the stages of a kind without the time in which heat of the one before arrives."""
    cut = [
        Stage(kind, stage.from_s + (SETTLE_S if number else 0.0), stage.to_s)
        for number, stage in enumerate(stages)
        if stage.kind == kind
    ]
    return [stage for stage in cut if stage.to_s > stage.from_s]


def _times(found: _Found, features: RunFeatures, span: Span) -> None:
    if span.from_c is None or span.to_c is None:
        for name in ("span_min", "rate_span_c_per_min", "time_to_band_min"):
            found.put(name, None, Reason("no-common-span"))
        return
    begin_s, why = _reached(features, span.from_c)
    end_s, end_why = _reached(features, span.to_c)
    seconds, gap_why = _between(found, features, begin_s, end_s)
    why_span = why or end_why or gap_why
    found.put("span_min", None if seconds is None else seconds / 60.0, why_span)
    rate = None if not seconds else (span.to_c - span.from_c) / (seconds / 60.0)
    found.put("rate_span_c_per_min", rate, why_span)
    low_why = _why_no_band(features, span.band)
    seconds, gap_why = _between(found, features, begin_s, features.low_s)
    found.put(
        "time_to_band_min",
        None if seconds is None else seconds / 60.0,
        why or low_why or gap_why,
    )


def _reached(features: RunFeatures, level_c: int) -> tuple[float | None, Reason | None]:
    at_s = features.reached_s(float(level_c))
    if at_s is not None:
        return at_s, None
    if level_c < features.climb_from_c:
        start_c = round(features.start_c, 1)
        return None, Reason("begins-above", {"start_c": start_c, "level_c": level_c})
    if level_c >= features.climb_from_c + len(features.climb_s):
        return None, Reason("not-reaching", {"level_c": level_c})
    return None, Reason("passed-unseen", {"level_c": level_c})


def _why_no_band(features: RunFeatures, band: Band) -> Reason | None:
    if features.low_s is not None:
        return None
    if features.start_c > band.low_c:
        return Reason("begins-in-band")
    top_c = max(fluid_c for _, fluid_c in features.curve)
    if top_c < band.low_c:
        minutes = (features.last_s - features.first_s) / 60.0
        return Reason("band-not-reached", {"minutes": round(minutes), "top_c": round(top_c)})
    return Reason("band-entered-unseen")


def reached_not(piece: Piece) -> bool:
    """Whether a run ended before the band: its time to the band is longer than was seen."""
    why = piece.missing.get("time_to_band_min")
    return why is not None and why.code == "band-not-reached"


def _between(
    found: _Found, features: RunFeatures, begin_s: float | None, end_s: float | None
) -> tuple[float | None, Reason | None]:
    """Return the seconds between two moments; across a gap only where its length is known."""
    if begin_s is None or end_s is None:
        return None, _NOT_SEEN
    for gap in features.gaps_between(begin_s, end_s):
        length_s = gap.to_s - gap.from_s
        if not gap.clock_known:
            return None, Reason(GAP + gap.why)
        found.notes.append(Reason("gap-known", {"seconds": round(length_s)}))
    return end_s - begin_s, None


def rate_at(
    features: RunFeatures, level_c: int, within: Sequence[Stage] | None
) -> tuple[float | None, Reason | None]:
    """Return the heating rate in degC/min around a level, or None and why it is not known.

    With `within` it counts only where it lies inside one of those stages.
    """
    begin_s, why = _reached(features, level_c - RATE_HALF_C)
    end_s, end_why = _reached(features, level_c + RATE_HALF_C)
    if begin_s is None or end_s is None:
        return None, why or end_why
    if end_s <= begin_s:
        return None, Reason("passed-at-once")
    if any(not gap.clock_known for gap in features.gaps_between(begin_s, end_s)):
        return None, Reason("gap-there")
    if within is not None and not any(
        stage.from_s <= begin_s and end_s <= stage.to_s for stage in within
    ):
        return None, Reason("not-in-phase", {"level_c": level_c})
    return 2 * RATE_HALF_C / ((end_s - begin_s) / 60.0), None


def _model_rate(found: _Found, features: RunFeatures, kind: str, at_c: float | None) -> None:
    name = "rate_model_c_per_min"
    model = stage_model(features.blocks, at_c, step_c=features.step_c)
    rates = {} if model is None else {rate.kind: rate for rate in model.rates}
    if kind not in rates:
        found.put(name, None, Reason("too-short"))
        return
    rate = rates[kind]
    found.put(name, rate.rate.estimate)
    if rate.carried:
        ends = {"low_c": round(rate.seen_low_c), "high_c": round(rate.seen_high_c)}
        found.notes.append(Reason(CARRIED + kind, {**ends, "at_c": round(rate.at_c)}))


def _after_entry(found: _Found, features: RunFeatures, band: Band) -> None:
    beyond_c = features.peak_c - band.high_c
    if features.peak_c < band.low_c:
        found.put("overshoot_c", None, Reason("below-band"))
    elif features.still_rising and beyond_c < 0.0:
        found.put("overshoot_c", None, Reason("ended-at-highest-inside"))
    else:
        found.put("overshoot_c", max(0.0, beyond_c))
        if features.still_rising:
            found.notes.append(Reason("ended-at-highest"))
    window = features.window
    if window is None:
        why = _why_no_band(features, band) or Reason("no-stay")
        found.put("window_min", None, why)
        found.put("window_at_least_min", None, why)
    else:
        minutes = window.lasted_s / 60.0
        why = Reason(f"{window.ended_by}-inside")
        found.put("window_min", None if window.left_s is None else minutes, why)
        found.put("window_at_least_min", minutes)
    out = features.plug_out
    why = Reason("no-plug-out" if out is None else "plug-out-brief")
    found.put("plug_out_range_c", None if out is None else out.range_c, why)
    if out is not None and out.range_c is not None and out.range_c <= features.step_c > 0.0:
        # One step of the reading may be next to nothing, or nearly two steps: no rate.
        found.put("plug_out_rate_c_per_min", None, Reason("one-step", {"step_k": features.step_c}))
    else:
        found.put("plug_out_rate_c_per_min", None if out is None else out.rate_c_per_min, why)


_NOT_SEEN = Reason("not-seen")
