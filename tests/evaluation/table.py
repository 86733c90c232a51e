"""Print the scores."""

import itertools
from collections.abc import Iterable
from math import inf

import numpy as np

from tests.evaluation.scores import HORIZONS_S, OURS, Case, Chance, wilson

_EDGES = (0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 0.99, 1.01)


def error_table(cases: list[Case], title: str) -> str:
    """Return one table: a line for each horizon and rule."""
    lines = [
        f"{title}: {len({c.curve for c in cases})} curves",
        (
            f"{'before':>7} {'cases':>5}  {'rule':<20} {'median':>7} {'90 %':>6} "
            f"{'within 25 %':>11} {'inside q10-q90':>24}"
        ),
    ]
    for horizon in HORIZONS_S:
        here = [c for c in cases if c.truth_s == horizon]
        if here:
            lines += _horizon_lines(here, horizon)
    return "\n".join(lines)


def _horizon_lines(here: list[Case], horizon: float) -> Iterable[str]:
    inside = sum(c.inside for c in here)
    low, high = wilson(inside, len(here))
    medians = {r: float(np.median([c.answers[r] for c in here])) for r in here[0].answers}
    best = min((m for r, m in medians.items() if r != OURS), default=float("nan"))
    for rule, median in medians.items():
        errors = [c.answers[rule] for c in here]
        worst = float(np.sort(errors)[min(int(0.9 * len(errors)), len(errors) - 1)])
        close = sum(e <= 0.25 for e in errors) / len(errors)
        note = ""
        if rule == OURS:
            note = f"{inside / len(here):8.0%} ({low:.0%}-{high:.0%})   {median / best:.2f} of best"
        lead = f"{horizon:6.0f}s {len(here):5d}" if rule == OURS else " " * 13
        yield f"{lead}  {rule:<20} {median:7.1%} {worst:6.0%} {close:11.0%} {note}"


def error_page(cases: list[Case], title: str) -> str:
    """Return the table as docs/forecast.md shows it: a line for each horizon."""
    rules = [r for r in cases[0].answers if r != OURS]
    heads = ["before", "cases", "median error", "90 %", "within 25 %"]
    heads += ["inside q10-q90 (Wilson 95 %)", *rules, "of best"]
    lines = [f"**{title}**", "", _row(heads), "|" + "---|" * len(heads)]
    for horizon in HORIZONS_S:
        here = [c for c in cases if c.truth_s == horizon]
        if here:
            lines.append(_row([f"{horizon:.0f} s", str(len(here)), *_cells(here, rules)]))
    return "\n".join(lines)


def _cells(here: list[Case], rules: list[str]) -> Iterable[str]:
    errors = np.sort([c.answers[OURS] for c in here])
    inside, n = sum(c.inside for c in here), len(here)
    low, high = wilson(inside, n)
    medians = [float(np.median([c.answers[r] for c in here])) for r in rules]
    yield f"**{np.median(errors):.1%}**"
    yield f"{errors[min(int(0.9 * n), n - 1)]:.0%}"
    yield f"{(errors <= 0.25).mean():.0%}"
    yield f"{inside / n:.0%} ({low:.0%}-{high:.0%})"
    yield from (f"{m:.1%}" for m in medians)
    best = min(medians)
    yield f"{np.median(errors) / best:.2f}" if best < inf else "none gives a time"


def chance_page(chances: list[Chance], title: str) -> str:
    """Return the rows of the chance table of docs/forecast.md for one group."""
    return "\n".join(
        _row([title, f"{said:.2f}", f"{came:.2f}", f"{low:.2f}-{high:.2f}", str(n)])
        for said, came, low, high, n in _bins(chances)
    )


def _row(cells: Iterable[str]) -> str:
    return "| " + " | ".join(cells) + " |"


def chance_table(chances: list[Chance], title: str) -> str:
    """Return how often the target came, by the chance given."""
    lines = [f"{title}: chance given against arrived before the record ended"]
    lines += [
        f"  said {said:5.2f}  came {came:5.2f}  ({low:.2f}-{high:.2f})  n {n}"
        for said, came, low, high, n in _bins(chances)
    ]
    return "\n".join(lines)


def _bins(chances: list[Chance]) -> Iterable[tuple[float, float, float, float, int]]:
    """Yield for each range of the chance: mean, share that came with its interval, count."""
    for low, high in itertools.pairwise(_EDGES):
        here = [c for c in chances if low <= c.chance < high]
        if here:
            n, came = len(here), sum(c.arrived for c in here)
            yield sum(c.chance for c in here) / n, came / n, *wilson(came, n), n
