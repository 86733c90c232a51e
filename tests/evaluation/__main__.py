"""Score the forecasts: `python -m tests.evaluation [CURVES_DIR]`.

Measured curves come from CURVES_DIR (they are not part of this repository); the others are
invented, with fixed seeds, of the family that nothing was learned on.
"""

import argparse
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

from tests.evaluation.curves import Curve, measured, read
from tests.evaluation.plants import KINDS, many
from tests.evaluation.scores import BINS_S, OURS, Line, Moment, chances, follow, summary

FIRST_SEED = 5000
_HEAD = ("since it began", "curves", OURS, "best peer", "of best (95 %)", "median ln",
         "inside", "silent")  # fmt: skip


def lines(group: str, moments: Sequence[Moment]) -> list[Line]:
    """Return a line for each time since the way began, and one for all."""
    found = []
    for low, high in BINS_S:
        name = f"{low:.0f} to {high:.0f} s" if high < 1e9 else f"over {low:.0f} s"
        found.append(summary(name, [m for m in moments if low <= m.since_s < high]))
    found.append(summary("all", moments))
    return [line for line in found if line is not None]


def page(group: str, moments: Sequence[Moment]) -> str:
    """Return the table of one group in Markdown."""
    rows = lines(group, moments)
    peers = [rule for rule in rows[-1].errors if rule != OURS] if rows else []
    head = [*_HEAD, *peers]
    text = [f"**{group}**", "", f"| {' | '.join(head)} |", f"|{'---|' * len(head)}"]
    for row in rows:
        ratio, low, high = row.ratio
        cells = [row.name, str(row.curves), f"**{row.errors[OURS]:.2f}**", row.best,
                 f"{ratio:.2f} ({low:.2f} to {high:.2f})", f"{row.middle:+.2f}",
                 f"{row.inside:.0%}", f"{row.silent:.0%}"]  # fmt: skip
        cells += [f"{row.errors[p]:.2f}" if p in row.errors else "" for p in peers]
        text.append(f"| {' | '.join(cells)} |")
    text += ["", "chance said / came (95 %), moments: " + "; ".join(
        f"{said:.2f} / {came:.2f} ({low:.2f} to {high:.2f}), {n}"
        for said, came, low, high, n in chances(moments))]  # fmt: skip
    return "\n".join(text)


def curves_of(runs: int, folder: Path | None, only: str) -> list[Callable[[], list[Curve]]]:
    """Return what makes the curves, a few at a time."""
    wanted: list[Callable[[], list[Curve]]] = []
    for kind in KINDS:
        if only in kind:
            wanted += [partial(many, kind, "four", 1, FIRST_SEED + 1000 * i, plain=True)
                       for i in range(runs)]  # fmt: skip
    if folder is not None:
        wanted += [partial(_one, *found) for found in measured(folder) if only in found[1]]
    return wanted


def _one(path: Path, group: str) -> list[Curve]:
    curve = read(path, group)
    return [curve] if len(curve.rows) > 60 else []


def _score(make: Callable[[], list[Curve]]) -> list[Moment]:
    return [moment for curve in make() for moment in follow(curve)]


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.evaluation", description=__doc__)
    parser.add_argument("curves", nargs="?", type=Path, help="folder of measured curves")
    parser.add_argument("--runs", type=int, default=20, help="invented runs of each kind")
    parser.add_argument("--only", default="", help="only kinds that contain this")
    parser.add_argument("--jobs", type=int, default=2)
    options = parser.parse_args()
    found: dict[str, list[Moment]] = {}
    with ProcessPoolExecutor(options.jobs) as pool:
        for some in pool.map(_score, curves_of(options.runs, options.curves, options.only)):
            for moment in some:
                found.setdefault(moment.group, []).append(moment)
    for group, moments in found.items():
        print(page(group, moments), end="\n\n")


if __name__ == "__main__":
    main()
