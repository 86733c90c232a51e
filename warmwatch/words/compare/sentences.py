"""The sentences of a comparison. They state what was seen and recommend nothing."""

import math
from collections.abc import Sequence

from warmwatch.analysis.methods.comparison import Comparison, Difference, Group
from warmwatch.analysis.methods.figures import NO_LABEL, Span
from warmwatch.analysis.methods.interval import Interval
from warmwatch.analysis.methods.loading import declares_loading
from warmwatch.words.compare.rows import figure_rows
from warmwatch.words.compare.too_few import merge_too_few, too_few_text, unfinished_stays
from warmwatch.words.events import band_text

_GERUNDS = {"idle": "idling", "idling": "idling", "drive": "driving", "driving": "driving"}


def sentences(comparison: Comparison, unit: str) -> list[str]:
    """Return what the recordings tell, one plain sentence each."""
    lines = [_not_reached(group, comparison.span, unit) for group in comparison.groups]
    for pair in _by_pair(comparison.differences):
        lines += _pair_sentences(pair, comparison, unit)
    lines = merge_too_few(lines, comparison)
    lines.append(unfinished_stays(comparison))
    if len(comparison.groups) == 1 and comparison.groups:
        lines.append(f"There is only one group, {comparison.groups[0].name}: nothing to compare.")
    return [sentence for sentence in dict.fromkeys(lines) if sentence]


def _not_reached(group: Group, span: Span, unit: str) -> str:
    if not group.not_reached:
        return ""
    band = band_text(span.band, unit)
    return (
        f"{_subject(group.name)} had not reached the band {band} when the recording ended in "
        f"{group.not_reached} of {runs_text(group.n)}."
    )


def _by_pair(differences: Sequence[Difference]) -> list[dict[str, Difference]]:
    pairs: dict[tuple[str, str], dict[str, Difference]] = {}
    for one in differences:
        pairs.setdefault((one.a, one.b), {})[one.figure] = one
    return list(pairs.values())


def _pair_sentences(pair: dict[str, Difference], comparison: Comparison, unit: str) -> list[str]:
    lines = []
    to_band = pair.get("time_to_band_min")
    if to_band is not None and not to_band.censored:
        lines.append(_band_sentence(to_band))
    elif "span_min" in pair:
        rows = {name: words for name, words, _ in figure_rows(comparison.span, unit)}
        lines.append(_span_sentence(pair["span_min"], rows["span_min"]))
    elif "rate_model_c_per_min" in pair:
        lines.append(_rate_sentence(pair["rate_model_c_per_min"], unit))
    window = pair.get("window_min")
    if window is not None and not window.too_few:
        lines.append(_window_sentence(window))
    return lines


def _sides(one: Difference) -> tuple[str, str, float, int, int]:
    """Return subject, object, sign and counts.

    Holds against the brakes are never said to be the sooner: they are the object, and of two kinds
    of holds the slower is the subject.
    """
    a_holds, b_holds = declares_loading(one.a), declares_loading(one.b)
    a_is_sooner = one.best is not None and one.best.estimate < 0.0
    if a_holds and (not b_holds or a_is_sooner):
        return one.b, one.a, -1.0, one.n_b, one.n_a
    return one.a, one.b, 1.0, one.n_a, one.n_b


def _band_sentence(one: Difference) -> str:
    subject, other, sign, n, m = _sides(one)
    what = "the time to the band"
    if one.too_few or one.best is None:
        return too_few_text(subject, n, other, m, what)
    if not one.best.tells:
        return _untold(one, what, "min", sign)
    change = sign * one.best.estimate
    return (
        f"{_subject(subject)} reached the band {_number(abs(change), 'min')} min "
        f"{'sooner' if change < 0 else 'later'} than {_object(other)} "
        f"({_interval(one.best, 'min')}, {runs_pair(n, m)}{_adjustment(one, 'min')})."
    )


def _span_sentence(one: Difference, span: str) -> str:
    subject, other, sign, n, m = _sides(one)
    if one.too_few or one.best is None:
        return too_few_text(subject, n, other, m, f"the time {span}")
    if not one.best.tells:
        return _untold(one, f"the time {span}", "min", sign)
    change = sign * one.best.estimate
    return (
        f"{_subject(subject)} took {_number(abs(change), 'min')} min "
        f"{'less' if change < 0 else 'longer'} {span} than {_object(other)} "
        f"({_interval(one.best, 'min')}, {runs_pair(n, m)}{_adjustment(one, 'min')})."
    )


def _rate_sentence(one: Difference, unit: str) -> str:
    subject, other, sign, n, m = _sides(one)
    what = "the heating rate"
    if one.too_few or one.best is None:
        return too_few_text(subject, n, other, m, what)
    scale = 1.8 if unit == "F" else 1.0
    kind = f"°{unit}/min"
    if not one.best.tells:
        return _untold(one, what, kind, sign, scale)
    change = sign * one.best.estimate * scale
    word = "less" if change < 0 else "more"
    return (
        f"{_subject(subject)} heated the fluid by {abs(change):.2f} {kind} {word} than "
        f"{_object(other)} at the same temperature "
        f"({_interval(one.best, kind, scale)}, {runs_pair(n, m)}{_adjustment(one, kind, scale)})."
    )


def _window_sentence(one: Difference) -> str:
    subject, other, sign, n, m = _sides(one)
    if one.best is None:
        return ""
    if not one.best.tells:
        return _untold(one, "the stay in the band", "min", sign)
    change = sign * one.best.estimate
    word = "shorter" if change < 0 else "longer"
    return (
        f"The stay in the band was {_number(abs(change), 'min')} min {word} after "
        f"{_object(subject)} than after {_object(other)} "
        f"({_interval(one.best, 'min')}, {runs_pair(n, m)}{_adjustment(one, 'min')})."
    )


def _untold(one: Difference, what: str, kind: str, sign: float, scale: float = 1.0) -> str:
    subject, other, _, n, m = _sides(one)
    best = one.best
    if best is None or not math.isfinite(best.low):
        return ""
    ends = sorted((sign * scale * best.low, sign * scale * best.high))
    return (
        f"These runs do not tell {_object(subject)} and {_object(other)} apart by {what} "
        f"(difference {_number(sign * scale * best.estimate, kind)}, 95 % interval "
        f"{_number(ends[0], kind)} to {_number(ends[1], kind)} {kind}, {runs_pair(n, m)})."
    )


def _interval(interval: Interval, kind: str, scale: float = 1.0) -> str:
    ends = sorted((abs(interval.low * scale), abs(interval.high * scale)))
    return f"95 % interval {_number(ends[0], kind)} to {_number(ends[1], kind)} {kind}"


def _adjustment(one: Difference, kind: str, scale: float = 1.0) -> str:
    if one.adjusted is None or one.plain is None:
        return ""
    named = {"start_c": "start", "ambient_c": "ambient"}
    what = " and ".join(named[name] for name in one.adjusted.covariates)
    text = f"; {what} temperature taken into account, without that "
    plain = abs(one.plain.estimate * scale)
    against = one.plain.estimate * one.adjusted.interval.estimate < 0.0
    return f"{text}{_number(plain, kind)} {kind}{' the other way' if against else ''}"


def _number(value: float, kind: str) -> str:
    digits = 2 if kind.startswith("°") else (0 if abs(value) >= 9.95 else 1)
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if not float(text) else text


def _subject(name: str) -> str:
    text = _object(name)
    return text[0].upper() + text[1:]


def _object(name: str) -> str:
    if name in _GERUNDS:
        return _GERUNDS[name]
    return "the runs without a label" if name == NO_LABEL else f"the {name} runs"


def runs_text(n: int) -> str:
    """Return `1 run` or `3 runs`."""
    return f"{n} run" if n == 1 else f"{n} runs"


def runs_pair(n: int, m: int) -> str:
    """Return `5 and 4 runs`."""
    return f"{n} and {m} runs"
