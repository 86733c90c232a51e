"""Score the forecasts: `python -m tests.evaluation [CURVES_DIR]`.

Measured curves come from CURVES_DIR (they are not part of this repository), stationary warm-ups
are simulated with fixed seeds.
"""

import argparse
from pathlib import Path

from tests.evaluation.curves import Curve, measured
from tests.evaluation.scores import Case, Chance, score
from tests.evaluation.stationary import stationary
from tests.evaluation.table import chance_table, error_table

TARGETS = {
    "drivers A, B": (60.0, 70.0),
    "drivers C, D": (60.0, 70.0),
    "coolant, driving": (60.0, 70.0, 80.0),
    "heater coolant": (40.0, 50.0, 60.0),
    "hydraulic oil": (50.0, 55.0),
}
CHANCE_TARGETS = (60.0, 70.0, 75.0, 80.0, 85.0, 90.0)


def gather(curves: list[Curve]) -> tuple[list[Case], list[Chance]]:
    """Return all scored forecasts, and chances over more targets."""
    cases, chances = [], []
    for curve in curves:
        targets = TARGETS.get(curve.group, (50.0, 60.0, 70.0, 80.0))
        cases += score(curve, targets)[0]
        chances += score(curve, CHANCE_TARGETS, rules=False)[1]
    return cases, chances


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.evaluation", description=__doc__)
    parser.add_argument("curves", nargs="?", type=Path, help="folder of measured curves")
    parser.add_argument("--runs", type=int, default=150, help="simulated runs of each kind")
    options = parser.parse_args()
    curves = measured(options.curves) if options.curves else []
    curves += stationary(options.runs)
    cases, chances = gather(curves)
    for group in dict.fromkeys(c.group for c in curves):
        print(error_table([c for c in cases if c.group == group], group), end="\n\n")
        print(chance_table([c for c in chances if c.group == group], group), end="\n\n")


main()
