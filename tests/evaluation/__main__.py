"""Score the forecasts: `python -m tests.evaluation [CURVES_DIR]`.

Measured curves come from CURVES_DIR (they are not part of this repository); stationary warm-ups
are simulated with fixed seeds.
"""

import argparse
from pathlib import Path

from tests.evaluation.curves import Curve, measured
from tests.evaluation.scores import Case, Chance, score
from tests.evaluation.stationary import stationary
from tests.evaluation.table import chance_page, chance_table, error_page, error_table
from warmwatch.core.forecast.prior import learn

DRIVES = (60.0, 70.0)
TARGETS = {
    "drivers A, B": DRIVES,
    "drivers C, D": DRIVES,
    "coolant, driving": (60.0, 70.0, 80.0),
    "heater coolant": (40.0, 50.0, 60.0),
    "hydraulic oil": (50.0, 55.0),
}
STATIONARY = (50.0, 60.0, 70.0, 80.0)
CHANCE_TARGETS = (60.0, 70.0, 75.0, 80.0, 85.0, 90.0)


def gather(curves: list[Curve]) -> tuple[list[Case], list[Chance]]:
    """Return all scored forecasts, and chances over more targets."""
    cases, chances = [], []
    for curve in curves:
        cases += score(curve, TARGETS.get(curve.group, STATIONARY))[0]
        chances += score(curve, CHANCE_TARGETS, rules=False)[1]
    return cases, chances


def with_prior(curves: list[Curve]) -> list[Case]:
    """Return the drives scored with a prior learned from the other pair of drivers."""
    cases = []
    for mine, others in (("drivers A, B", "drivers C, D"), ("drivers C, D", "drivers A, B")):
        prior = learn(
            [(r.elapsed_s, r.fluid_c, r.phase) for r in c.rows] for c in curves if c.group == others
        )
        for curve in curves:
            if curve.group == mine:
                cases += score(curve, DRIVES, prior)[0]
    return cases


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.evaluation", description=__doc__)
    parser.add_argument("curves", nargs="?", type=Path, help="folder of measured curves")
    parser.add_argument("--runs", type=int, default=120, help="simulated runs of each kind")
    parser.add_argument("--markdown", action="store_true", help="as docs/forecast.md shows it")
    options = parser.parse_args()
    curves = measured(options.curves) if options.curves else []
    curves += stationary(options.runs)
    cases, chances = gather(curves)
    errors, arrivals = (
        (error_page, chance_page) if options.markdown else (error_table, chance_table)
    )
    groups = list(dict.fromkeys(c.group for c in curves))
    for group in groups:
        if found := [c for c in cases if c.group == group]:
            print(errors(found, group), end="\n\n")
    if options.curves:
        drives = [c for c in cases if c.group.startswith("drivers")]
        print(errors(drives, "all drivers"), end="\n\n")
        told = with_prior(curves)
        print(errors(told, "all drivers, with a prior learned from the other pair"), end="\n\n")
    for group in groups:
        print(arrivals([c for c in chances if c.group == group], group))


if __name__ == "__main__":
    main()
