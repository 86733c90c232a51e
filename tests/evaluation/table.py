"""Print the scores."""

import itertools
from collections.abc import Iterable

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


def chance_table(chances: list[Chance], title: str) -> str:
    """Return how often the target came, by the chance given."""
    lines = [f"{title}: chance given against arrived before the record ended"]
    for low, high in itertools.pairwise(_EDGES):
        here = [c for c in chances if low <= c.chance < high]
        if here:
            came = sum(c.arrived for c in here)
            a, b = wilson(came, len(here))
            mean = sum(c.chance for c in here) / len(here)
            share = f"{came / len(here):5.2f}  ({a:.2f}-{b:.2f})"
            lines.append(f"  said {mean:5.2f}  came {share}  n {len(here)}")
    return "\n".join(lines)
