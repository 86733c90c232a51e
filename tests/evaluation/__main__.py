"""Score the forecasts: `python -m tests.evaluation [CURVES_DIR]`.

Measured curves come from CURVES_DIR (they are not part of this repository); the others are
invented, with fixed seeds, of the family that nothing was learned on. All peers are asked in the
same run; "best peer" is the one that comes nearest to us at the moments when both were asked.
"""

import argparse
import json
import sys
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

from tests.evaluation.curves import Curve, measured, read
from tests.evaluation.peers import FITTED, RULES
from tests.evaluation.plants import KINDS, many
from tests.evaluation.scores import BINS_S, OURS, Line, Moment, chances, follow, summary
from warmwatch.core.forecast import answers
from warmwatch.core.forecast.correction import correction_from

FIRST_SEED = 5000
_FALLING = ("engine off", "cooling at idle")
_HEAD = ("group", "since it began", "curves", OURS, "of the line (95 %)", "best peer",
         "of the best (95 %)", "median ln", "inside", "silent")  # fmt: skip


def lines(moments: Sequence[Moment]) -> list[Line]:
    """Return a line for each time since the way began, and one for all."""
    found = []
    for low, high in BINS_S:
        name = f"{low:.0f} to {high:.0f} s" if high < 1e9 else f"over {low:.0f} s"
        found.append(summary(name, [m for m in moments if low <= m.since_s < high]))
    found.append(summary("all", [m for m in moments if m.since_s >= BINS_S[0][0]]))
    return [line for line in found if line is not None]


def table(found: Mapping[str, Sequence[Moment]]) -> str:
    """Return the table of all groups in Markdown.

    "The line" is the one since the way began; for cooling it is the fit of Newton's law.
    """
    head = [*_HEAD, *RULES, *FITTED]
    text = [f"| {' | '.join(head)} |", f"|{'---|' * len(head)}"]
    for group, moments in found.items():
        rival = "Newton fit" if group.startswith(_FALLING) else "line, this way"
        for row in lines(moments):
            cells = [group, row.name, str(row.curves), f"**{row.errors[OURS]:.2f}**",
                     _between(row.ratios[rival]), row.best, _between(row.ratios[row.best]),
                     f"{row.middle:+.2f}", f"{row.inside:.0%}", f"{row.silent:.0%}"]  # fmt: skip
            cells += [f"{row.errors[p]:.2f}" if p in row.errors else "" for p in head[len(_HEAD) :]]
            text.append(f"| {' | '.join(cells)} |")
    return "\n".join(text)


def _between(ratio: tuple[float, float, float]) -> str:
    return f"{ratio[0]:.2f} ({ratio[1]:.2f} to {ratio[2]:.2f})"


def chance_table(found: Mapping[str, Sequence[Moment]]) -> str:
    """Return what chances were said, and how often it came, in Markdown."""
    text = ["| group | chance said | came (95 %) | moments |", "|---|---|---|---|"]
    for group, moments in found.items():
        text += [f"| {group} | {said:.2f} | {came:.2f} ({low:.2f} to {high:.2f}) | {n} |"
                 for said, came, low, high, n in chances(moments)]  # fmt: skip
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


def _use(correction: Path | None) -> None:
    """Score with another correction than the program's: one learned without a measured group."""
    if correction is not None:
        other = correction_from(json.loads(correction.read_text(encoding="utf-8")))
        answers.learned = lambda: other  # type: ignore[assignment, attr-defined]


def _score(make: Callable[[], list[Curve]]) -> list[Moment]:
    return [moment for curve in make() for moment in follow(curve)]


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.evaluation", description=__doc__)
    parser.add_argument("curves", nargs="?", type=Path, help="folder of measured curves")
    parser.add_argument("--runs", type=int, default=24, help="invented runs of each kind")
    parser.add_argument("--quick", action="store_true", help="six runs of each kind")
    parser.add_argument("--only", default="", help="only kinds that contain this")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--correction", type=Path, help="a file of `tests.evaluation.train`")
    options = parser.parse_args()
    makes = curves_of(6 if options.quick else options.runs, options.curves, options.only)
    found: dict[str, list[Moment]] = {}
    with ProcessPoolExecutor(options.jobs, None, _use, (options.correction,)) as pool:
        for done, some in enumerate(pool.map(_score, makes), 1):
            print(f"\r{done} of {len(makes)} curves", end="", file=sys.stderr, flush=True)
            for moment in some:
                found.setdefault(moment.group, []).append(moment)
    print(file=sys.stderr)
    print(table(found), chance_table(found), sep="\n\n")


if __name__ == "__main__":
    main()
