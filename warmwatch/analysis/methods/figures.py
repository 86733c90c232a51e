"""The figures of one recording that are compared, and why a figure is missing.

A figure is missing rather than extrapolated: each missing one carries its reason.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from warmwatch.analysis.methods.run import RunFeatures, Stage
from warmwatch.analysis.methods.stages import SETTLE_S, stage_model
from warmwatch.core.band import Band

RATE_HALF_C = 3
"""A rate at a temperature is the mean rate from so much below it to so much above it."""
PHASES = ("idle", "driving", "loaded")
NO_LABEL = "(no label)"


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
    missing: Mapping[str, str]
    notes: tuple[str, ...] = ()


def label(run: Run) -> str:
    """Return the group name of a run's method: spaces and capitals make no difference."""
    return " ".join(run.method.split()).casefold() or NO_LABEL


class _Found:
    """Collects figures and the reasons of missing ones."""

    def __init__(self) -> None:
        self.figures: dict[str, float] = {}
        self.missing: dict[str, str] = {}
        self.notes: list[str] = []

    def put(self, name: str, value: float | None, why: str) -> None:
        if value is None or not math.isfinite(value):
            self.missing[name] = why
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
    found.put("coolant_peak_c", features.coolant_peak_c, "coolant was not read")
    found.put("ambient_c", features.ambient_c, "ambient was not read")
    found.put("start_c", features.start_c, "")
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
        found.put("ambient_c", run.features.ambient_c, "ambient was not read")
        found.put("start_c", run.features.start_c, "")
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
            found.put(name, None, "there is no common span")
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


def _reached(features: RunFeatures, level_c: int) -> tuple[float | None, str]:
    at_s = features.reached_s(float(level_c))
    if at_s is not None:
        return at_s, ""
    if level_c < features.climb_from_c:
        return None, f"begins at {features.start_c:.1f} °C, above {level_c} °C"
    if level_c >= features.climb_from_c + len(features.climb_s):
        return None, f"does not reach {level_c} °C"
    return None, f"passed {level_c} °C unseen, in a gap"


def _why_no_band(features: RunFeatures, band: Band) -> str:
    if features.low_s is not None:
        return ""
    if features.start_c > band.low_c:
        return "begins in the band or above it"
    top_c = max(fluid_c for _, fluid_c in features.curve)
    if top_c < band.low_c:
        minutes = (features.last_s - features.first_s) / 60.0
        return f"did not reach the band in {minutes:.0f} min (highest {top_c:.0f} °C)"
    return "entered the band unseen, in a gap"


def reached_not(piece: Piece) -> bool:
    """Whether a run ended before the band: its time to the band is longer than was seen."""
    return piece.missing.get("time_to_band_min", "").startswith("did not reach")


def _between(
    found: _Found, features: RunFeatures, begin_s: float | None, end_s: float | None
) -> tuple[float | None, str]:
    """Return the seconds between two moments; across a gap only where its length is known."""
    if begin_s is None or end_s is None:
        return None, "not seen"
    for gap in features.gaps_between(begin_s, end_s):
        length_s = gap.to_s - gap.from_s
        if not gap.clock_known:
            return None, f"a gap of unknown length in the span ({gap.why})"
        found.notes.append(f"a gap of {length_s:.0f} s in the span; its length is known")
    return end_s - begin_s, ""


def rate_at(
    features: RunFeatures, level_c: int, within: Sequence[Stage] | None
) -> tuple[float | None, str]:
    """Return the heating rate in degC/min around a level, or None and why it is not known.

    With `within` it counts only where it lies inside one of those stages.
    """
    begin_s, why = _reached(features, level_c - RATE_HALF_C)
    end_s, end_why = _reached(features, level_c + RATE_HALF_C)
    if begin_s is None or end_s is None:
        return None, why or end_why
    if end_s <= begin_s:
        return None, "passed in no time"
    if any(not gap.clock_known for gap in features.gaps_between(begin_s, end_s)):
        return None, "a gap of unknown length there"
    if within is not None and not any(
        stage.from_s <= begin_s and end_s <= stage.to_s for stage in within
    ):
        return None, f"not in this phase around {level_c} °C, or not long enough"
    return 2 * RATE_HALF_C / ((end_s - begin_s) / 60.0), ""


def _model_rate(found: _Found, features: RunFeatures, kind: str, at_c: float | None) -> None:
    name = "rate_model_c_per_min"
    model = stage_model(features.blocks, at_c, step_c=features.step_c)
    rates = {} if model is None else {rate.kind: rate for rate in model.rates}
    if kind not in rates:
        found.put(name, None, "too short for the model")
        return
    rate = rates[kind]
    found.put(name, rate.rate.estimate, "")
    if rate.carried:
        found.notes.append(
            f"{kind} was seen from {rate.seen_low_c:.0f} to {rate.seen_high_c:.0f} °C; its rate at "
            f"{rate.at_c:.0f} °C is carried there by the shared loss term"
        )


def _after_entry(found: _Found, features: RunFeatures, band: Band) -> None:
    beyond_c = features.peak_c - band.high_c
    if features.peak_c < band.low_c:
        found.put("overshoot_c", None, "did not reach the band")
    elif features.still_rising and beyond_c < 0.0:
        found.put("overshoot_c", None, "ended inside the band while still at its highest")
    else:
        found.put("overshoot_c", max(0.0, beyond_c), "")
        if features.still_rising:
            found.notes.append("ended at its highest: it may have gone further beyond the top")
    window = features.window
    if window is None:
        why = _why_no_band(features, band) or "no confirmed stay in the band"
        found.put("window_min", None, why)
        found.put("window_at_least_min", None, why)
    else:
        minutes = window.lasted_s / 60.0
        why = f"{_ended(window.ended_by)} inside the band"
        found.put("window_min", None if window.left_s is None else minutes, why)
        found.put("window_at_least_min", minutes, "")
    out = features.plug_out
    why = "no plug-out mark" if out is None else "the plug was out too briefly"
    found.put("plug_out_range_c", None if out is None else out.range_c, why)
    if out is not None and out.range_c is not None and out.range_c <= features.step_c > 0.0:
        # One step of the reading may be next to nothing, or nearly two steps: no rate.
        step = f"one step of the reading, {features.step_c:g} °C"
        found.put("plug_out_rate_c_per_min", None, f"the fluid moved by no more than {step}")
    else:
        found.put("plug_out_rate_c_per_min", None if out is None else out.rate_c_per_min, why)


def _ended(ended_by: str) -> str:
    return {"blind": "the signal was lost", "jump": "the reading jumped"}.get(ended_by, ended_by)
