"""The sentences of a comparison. They state what was seen and recommend nothing."""

import math
from collections.abc import Iterator, Sequence

from warmwatch.analysis.methods.comparison import Comparison, Difference, Group
from warmwatch.analysis.methods.figures import NO_LABEL, Span
from warmwatch.analysis.methods.loading import declares_loading
from warmwatch.words.catalogue import capital, counted, joined, phrase
from warmwatch.words.compare.rows import figure_rows
from warmwatch.words.compare.too_few import merge_too_few, too_few_text, unfinished_stays
from warmwatch.words.events import band_text

_NAMED = ("idle", "idling", "drive", "driving")


def sentences(comparison: Comparison, unit: str) -> list[str]:
    """Return what the recordings tell, one plain sentence each."""
    lines = [_not_reached(group, comparison.span, unit) for group in comparison.groups]
    few: set[str] = set()
    for pair in _by_pair(comparison.differences):
        told = list(_pair_sentences(pair, comparison, unit))
        lines += [sentence for sentence, _ in told]
        few |= {sentence for sentence, too_few in told if too_few}
    lines = merge_too_few(lines, few, comparison)
    lines.append(unfinished_stays(comparison))
    if len(comparison.groups) == 1 and comparison.groups:
        lines.append(phrase("compare.one-group", name=comparison.groups[0].name))
    return [sentence for sentence in dict.fromkeys(lines) if sentence]


def _not_reached(group: Group, span: Span, unit: str) -> str:
    if not group.not_reached:
        return ""
    return phrase(
        "compare.not-reached",
        Subject=capital(_name(group.name)),
        band=band_text(span.band, unit),
        not_reached=group.not_reached,
        runs=runs_text(group.n),
    )


def _by_pair(differences: Sequence[Difference]) -> list[dict[str, Difference]]:
    pairs: dict[tuple[str, str], dict[str, Difference]] = {}
    for one in differences:
        pairs.setdefault((one.a, one.b), {})[one.figure] = one
    return list(pairs.values())


def _pair_sentences(
    pair: dict[str, Difference], comparison: Comparison, unit: str
) -> Iterator[tuple[str, bool]]:
    """Yield what two groups differ in, and whether it says that there are too few runs."""
    to_band = pair.get("time_to_band_min")
    if to_band is not None and not to_band.censored:
        yield _band_sentence(to_band), _too_few(to_band)
    elif (span := pair.get("span_min")) is not None:
        rows = {name: words for name, words, _ in figure_rows(comparison.span, unit)}
        yield _span_sentence(span, rows["span_min"]), _too_few(span)
    elif (rate := pair.get("rate_model_c_per_min")) is not None:
        yield _rate_sentence(rate, unit), _too_few(rate)
    window = pair.get("window_min")
    if window is not None and not window.too_few:
        yield _window_sentence(window), False


def _too_few(one: Difference) -> bool:
    return one.too_few or one.best is None


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
    what = phrase("compare.what-band")
    return _few(one, what) or _changed(one, ("sooner", "later"), what, "min")


def _span_sentence(one: Difference, span: str) -> str:
    what = phrase("compare.what-span", span=span)
    return _few(one, what) or _changed(one, ("less-time", "more-time"), what, "min", span=span)


def _rate_sentence(one: Difference, unit: str) -> str:
    what, kind = phrase("compare.what-rate"), f"°{unit}/min"
    scale = 1.8 if unit == "F" else 1.0
    return _few(one, what) or _changed(one, ("less-heat", "more-heat"), what, kind, scale)


def _window_sentence(one: Difference) -> str:
    if one.best is None:
        return ""
    return _changed(one, ("shorter-stay", "longer-stay"), phrase("compare.what-stay"), "min")


def _few(one: Difference, what: str) -> str:
    """Return that there are too few runs to tell; empty where there are enough."""
    if not _too_few(one):
        return ""
    subject, other, _, n, m = _sides(one)
    return too_few_text(subject, n, other, m, what)


def _changed(
    one: Difference,
    codes: tuple[str, str],
    what: str,
    kind: str,
    scale: float = 1.0,
    span: str = "",
) -> str:
    """Return the difference, by the first code where it is below zero, else by the second."""
    subject, other, sign, n, m = _sides(one)
    best = one.best
    if best is None or not best.tells:
        return _untold(one, what, kind, sign, scale)
    change = sign * best.estimate * scale
    ends = sorted((abs(best.low * scale), abs(best.high * scale)))
    seen = phrase(
        "compare.seen",
        low=_number(ends[0], kind),
        high=_number(ends[1], kind),
        kind=kind,
        pair=runs_pair(n, m),
        adjusted=_adjustment(one, kind, scale),
    )
    return phrase(
        f"compare.{codes[0] if change < 0 else codes[1]}",
        Subject=capital(_name(subject)),
        subject=_name(subject),
        other=_name(other),
        amount=_number(abs(change), kind),
        kind=kind,
        span=span,
        seen=seen,
    )


def _untold(one: Difference, what: str, kind: str, sign: float, scale: float) -> str:
    subject, other, _, n, m = _sides(one)
    best = one.best
    if best is None or not math.isfinite(best.low):
        return ""
    low, high = sorted((sign * scale * best.low, sign * scale * best.high))
    return phrase(
        "compare.untold",
        subject=_name(subject),
        other=_name(other),
        what=what,
        middle=_number(sign * scale * best.estimate, kind),
        low=_number(low, kind),
        high=_number(high, kind),
        kind=kind,
        pair=runs_pair(n, m),
    )


def _adjustment(one: Difference, kind: str, scale: float) -> str:
    if one.adjusted is None or one.plain is None:
        return ""
    against = one.plain.estimate * one.adjusted.interval.estimate < 0.0
    return phrase(
        f"compare.adjusted{'-against' if against else ''}",
        what=joined([phrase(f"compare.{name}") for name in one.adjusted.covariates]),
        plain=_number(abs(one.plain.estimate * scale), kind),
        kind=kind,
    )


def _number(value: float, kind: str) -> str:
    digits = 2 if kind.startswith("°") else (0 if abs(value) >= 9.95 else 1)
    text = f"{value:.{digits}f}"
    return text.removeprefix("-") if not float(text) else text


def _name(name: str) -> str:
    if name in _NAMED:
        return phrase(f"compare.{name}")
    if name == NO_LABEL:
        return phrase("compare.runs-no-label")
    return phrase("compare.runs-of", name=name)


def runs_text(n: int) -> str:
    """Return `1 run` or `3 runs`."""
    return counted("compare.runs", n)


def runs_pair(n: int, m: int) -> str:
    """Return `5 and 4 runs`."""
    return phrase("compare.pair", n=n, m=m)
